"""Why a job is not ready sooner: the words, and how a gap in days is shared out among them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

MOST = 3  # a person reads three causes; a fourth hides the first


class Why(StrEnum):
    WORK = "work"  # its own hours: more of them than days
    CURE = "cure"  # it sets or dries while the shop is open
    MAKER = "maker"  # who can do it is busy on another stage
    PLACE = "place"  # its place is taken by another stage
    AWAY = "away"  # who does it is not there while the shop is open
    CLOSED = "closed"  # the shop is closed on what is an ordinary day
    HELD = "held"  # it may not start yet: somebody must answer, or something must come


_OWN = {Why.WORK, Why.CURE}  # the job's own time; all else is a wait


@dataclass(frozen=True, slots=True)
class Cause:
    """``stage`` is the one whose time it is, ``other`` the stage in its way, of ``other_job``, with ``maker`` or in ``place``."""

    why: Why
    half_days: int
    stage: str
    other: str = ""
    other_job: str = ""
    place: str = ""
    maker: str = ""


def share(lost: Mapping[Cause, int], half: int, gap: int, last: str) -> tuple[Cause, ...]:
    """``gap`` half days shared out exactly among what was ``lost``, in units of which ``half`` make half a day.

    Waits explain it first, the longest first, each as far as it goes; then cures; and what is left is more work than days, which
    is put to the stage with the most work, or to ``last`` if none had any. So the first cause alone says what would be gained
    without it. Parts of half days go to the largest remainders. Among equals those come first that come first in ``lost``.
    """
    left = gap * half
    parts: dict[Cause, int] = {}
    for cause in sorted(lost, key=lambda cause: (cause.why is Why.CURE, -lost[cause])):
        if cause.why is not Why.WORK:
            parts[cause] = min(lost[cause], left)
            left -= parts[cause]
    own = [cause for cause in lost if cause.why is Why.WORK]
    parts[max(own, key=lost.__getitem__, default=Cause(Why.WORK, 0, last))] = left
    return _few(_whole(parts, half, gap))


def waits(lost: Mapping[Cause, int], half: int) -> tuple[Cause, ...]:
    """The three longest waits of what was ``lost``, in half days that are rounded together: their sum is that of all waits."""
    parts = {cause: units for cause, units in lost.items() if cause.why not in _OWN}
    total = (2 * sum(parts.values()) + half) // (2 * half)
    return tuple(_whole(parts, half, total)[:MOST])


def _whole(parts: Mapping[Cause, int], half: int, total: int) -> list[Cause]:
    """Causes with their share of ``total`` half days: rounded down, and what that lacks goes to the largest remainders."""
    counts = {cause: units // half for cause, units in parts.items()}
    lacking = total - sum(counts.values())
    for cause in sorted(parts, key=lambda cause: -(parts[cause] % half))[:lacking]:
        counts[cause] += 1
    return _biggest_first(replace(cause, half_days=count) for cause, count in counts.items() if count)


def _few(causes: list[Cause]) -> tuple[Cause, ...]:
    """At most three, with the same sum. The smallest goes to one of its kind, or else to the work, which is the rest anyway, or
    else to the biggest, which it changes the least."""
    while len(causes) > MOST:
        *kept, small = causes
        into = max(kept, key=lambda cause: _takes_in(cause, small))
        more = replace(into, half_days=into.half_days + small.half_days)
        causes = _biggest_first(more if cause is into else cause for cause in kept)
    return tuple(causes)


def _takes_in(cause: Cause, small: Cause) -> tuple[bool, bool, bool]:
    same = cause.why == small.why
    return same and (cause.place, cause.maker) == (small.place, small.maker), same, cause.why is Why.WORK


def _biggest_first(causes: Iterable[Cause]) -> list[Cause]:
    return sorted(causes, key=lambda cause: -cause.half_days)
