"""Who takes a maker or a place, and from when to when."""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from heapq import heappop, heappush
from operator import attrgetter
from typing import NamedTuple


class Span(NamedTuple):
    """``stage`` takes something in [start, end). Since ``since`` it was taken without a break, at the end by this stage."""

    start: int
    end: int
    stage: str
    since: int


def latest(spans: Sequence[Span], at: int) -> Span | None:
    """The last of ``spans``, which are in order, that starts before ``at``."""
    number = bisect_left(spans, at, key=attrgetter("start"))
    return spans[number - 1] if number else None


def following(spans: Sequence[Span], at: int, but: str) -> Span | None:
    """The first of ``spans``, which are in order, that starts at ``at`` or later, unless that is of the stage ``but``."""
    number = bisect_left(spans, at, key=attrgetter("start"))
    return spans[number] if number < len(spans) and spans[number].stage != but else None


def full(takes: Iterable[tuple[int, int, str]], capacity: int) -> list[Span]:
    """When a place was full that is taken by ``takes``, in order; each time with the stage that was the next to leave."""
    times: list[Span] = []
    there: list[tuple[int, str]] = []  # a heap: who leaves first
    since = 0
    arrivals = sorted(take for take in takes if take[0] < take[1])
    for start, end, stage in [*arrivals, (max((end for _, end, _ in arrivals), default=0), 0, "")]:
        while len(there) >= capacity and since < start:
            leaves, other = there[0]
            times.append(Span(since, min(leaves, start), other, since))
            since = min(leaves, start)
            if leaves <= start:
                heappop(there)
        while there and there[0][0] <= start:
            heappop(there)
        since = start
        heappush(there, (end, stage))
    return times


def joined(spans: Iterable[Span], touch: Callable[[Span, Span], bool]) -> list[Span]:
    """The same, in order; where two ``touch``, the second has been taken since the first was."""
    runs: list[Span] = []
    for span in sorted(spans):
        runs.append(span._replace(since=runs[-1].since) if runs and touch(runs[-1], span) else span)
    return runs
