"""How a piece is made: the kinds of work, where each is done and how long it takes at first guess, and their usual order.

Hours, crews and waits are first guesses for a piece of one metre at 20 °C (common practice, no source, but for the waits:
a small cast comes out after 12 to 24 h, a mould after 24 to 72 h, primer is sanded after 12 to 24 h, all longer in the
cold). A studio overwrites them with its own; the resin's or paint's data sheet decides, and a person says when it is hard.
"""

from dataclasses import dataclass
from decimal import Decimal

from studio.craft.workdays import SLOT_MIN

MOST_MIN = 60 * 10_000

PLACES = (  # name, how many stages may be there at once
    ("carving", 3),
    ("mould bench", 2),
    ("lay-up bay", 2),
    ("saw", 1),
    ("floor", 6),
    ("booth", 2),
    ("packing", 2),
    ("van", 1),
)


@dataclass(frozen=True, slots=True)
class Work:
    """A kind of work: minutes for each of the crew, minutes of curing, whether its place stays taken meanwhile."""

    key: str
    work_min: int
    place: str
    crew: int = 1
    cure_min: int = 0
    cure_holds: bool = False
    meets: bool = False  # the pieces of a job meet here


WORKS = (
    Work("carving", 960, "carving"),
    Work("modelling", 720, "carving"),
    Work("mould", 360, "mould bench", crew=2, cure_min=48 * 60, cure_holds=True),
    Work("lay-up", 360, "lay-up bay", cure_min=24 * 60, cure_holds=True),
    Work("carpentry", 720, "saw"),
    Work("filling", 480, "floor", cure_min=4 * 60),
    Work("fit-up", 240, "floor", crew=2, meets=True),
    Work("prime", 180, "booth", cure_min=12 * 60, cure_holds=True),
    Work("paint", 480, "booth", cure_min=24 * 60),
    Work("pack", 120, "packing"),
)


@dataclass(frozen=True, slots=True)
class Method:
    """``once`` is done once, however many copies are made from it; ``each`` for each of them, its first in turn: the same
    mould makes one after the other."""

    key: str
    name: str
    once: tuple[str, ...]
    each: tuple[str, ...]


_FINISH = ("fit-up", "prime", "paint", "pack")
METHODS = (
    Method("carved", "Carved from foam", (), ("carving", "filling", *_FINISH)),
    Method("cast", "Modelled, and cast from a mould", ("modelling", "mould"), ("lay-up", "filling", *_FINISH)),
    Method("built", "Built of timber", (), ("carpentry", "filling", *_FINISH)),
)


@dataclass(frozen=True, slots=True)
class Plotted:
    """A piece as a method sets it out. ``waits_for`` is the piece, by its number here, whose last stage of the method's
    first part must be over before this one's first stage begins."""

    name: str
    works: tuple[str, ...]
    waits_for: int | None = None
    stands_alone: bool = False


def pieces(method: Method, name: str, number: int) -> list[Plotted]:
    """The pieces of so many copies of one thing. One copy is one piece; of several, each goes its own way, and what is
    done once for all of them (a model and its mould) is a piece of its own that comes first."""
    if number == 1:
        return [Plotted(name, method.once + method.each)]
    first = [Plotted(f"{name}, {method.once[-1]}", method.once, stands_alone=True)] if method.once else []
    copies = [
        Plotted(
            f"{name} {copy} of {number}",
            method.each,
            waits_for=(len(first) + copy - 2) if first else None,
            stands_alone=True,
        )
        for copy in range(1, number + 1)
    ]
    return first + copies


def scaled_min(work_min: int, longest_m: Decimal | None) -> int:
    """Minutes for a piece of that longest side, from those for one metre: in proportion between half a metre and three
    (common practice, no source), in whole quarter hours. Nothing known of its size: as for one metre."""
    if longest_m is None or not work_min:
        return work_min
    factor = min(max(longest_m, Decimal("0.5")), Decimal(3))
    return max(SLOT_MIN, int((work_min * factor / SLOT_MIN).to_integral_value()) * SLOT_MIN)
