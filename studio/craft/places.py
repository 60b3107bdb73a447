"""The places of a shop: a bench, a bay, a booth. Each takes so many pieces at a time."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """``capacity`` is how many stages may be there at once, those that cure there included."""

    id: str
    capacity: int = 1
