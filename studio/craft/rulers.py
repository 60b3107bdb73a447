"""Lengths of time in days, as exact whole numbers, whatever the hours of each day."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from datetime import timedelta
from itertools import accumulate, pairwise
from math import lcm

from studio.craft.stages import Shop
from studio.craft.workdays import Calendar


class Ruler:
    """Measures a calendar's open slots, each with the weight of its day. It knows the days that begin at ``starts``."""

    def __init__(self, calendar: Calendar, starts: Sequence[int], weights: Sequence[int]) -> None:
        self._open, self._opened = calendar.open, calendar.before
        self._starts = starts
        self._weights = [*weights, 0]
        days = (calendar.worked(a, b) * weight for (a, b), weight in zip(pairwise(starts), weights, strict=True))
        self._before = list(accumulate(days, initial=0))

    def length(self, a: int, b: int) -> int:
        """Units of open slots in [a, b); none where b comes first."""
        a, b = max(a, self._starts[0]), min(b, self._starts[-1])
        return self._upto(b) - self._upto(a) if a < b and self._before[-1] else 0

    def _upto(self, slot: int) -> int:
        day = bisect_right(self._starts, slot) - 1
        return self._before[day] + (self._opened[slot] - self._opened[self._starts[day]]) * self._weights[day]

    def without(self, a: int, b: int, makers: Iterable[Calendar]) -> int:
        """Units of open slots in [a, b) at which not all ``makers`` are there."""
        a, b = max(a, self._starts[0]), min(b, self._starts[-1])
        if a >= b:
            return 0
        shop = int.from_bytes(self._open[a:b], "little")
        there = shop
        for maker in makers:
            there &= int.from_bytes(maker.open[a:b], "little")
        if there == shop:
            return 0
        gone = (shop ^ there).to_bytes(b - a, "little")
        days = range(bisect_right(self._starts, a) - 1, bisect_right(self._starts, b - 1))
        return sum(
            gone.count(1, max(self._starts[day] - a, 0), self._starts[day + 1] - a) * self._weights[day] for day in days
        )


def rulers(shop: Shop, upto: int) -> tuple[int, Ruler, Ruler]:
    """Half a day in units, and two rulers from now to slot ``upto``: of time that is open, and of time that is closed.

    A day on which the shop is open at all is one day long on the first; an ordinary day on which it is not is one day long on
    the second. Nights and weekends have no length.
    """
    first, last = (shop.grid.day(min(max(slot, 0), shop.grid.slots)) for slot in (shop.now, upto))
    starts = [shop.grid.starts(first + timedelta(number)) for number in range((last - first).days + 2)]
    starts = [min(slot, shop.grid.slots) for slot in starts]
    opens = [shop.calendar.worked(a, b) for a, b in pairwise(starts)]
    closed = [0 if slots else shop.ordinary.worked(a, b) for slots, (a, b) in zip(opens, pairwise(starts), strict=True)]
    half = lcm(*filter(None, opens + closed))

    def ruler(calendar: Calendar, days: Sequence[int]) -> Ruler:
        return Ruler(calendar, starts, [2 * half // slots if slots else 0 for slots in days])

    return half, ruler(shop.calendar, opens), ruler(shop.ordinary, closed)
