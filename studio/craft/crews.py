"""Makers who work together: who is there when, when all of a crew are, and which crew would be done the soonest.

A crew is a number with a bit for each maker, so that "who is free, there and able" is one operation.
"""

import re
from collections.abc import Sequence
from itertools import combinations, islice
from math import inf

from studio.craft.stages import Maker
from studio.craft.workdays import Calendar

_MOST_COMPARED = 100  # crews, before one of them starts
_MOST_KEPT = 200  # calendars of crews, so that many makers in large crews do not fill the memory


class Crews:
    """Whoever can do the least else has the lowest bit; by id where two can do the same number of things.

    ``bits``      the bit of each maker, by id
    ``there``     by slot, the bits of all who are there
    ``arrivals``  the slots, after the first, at which somebody comes who was not there
    ``together``  by crew, when all of it are there
    ``names``     by crew, their ids in order
    """

    def __init__(self, makers: Sequence[Maker], slots: int) -> None:
        by_use = sorted(makers, key=lambda maker: (inf if maker.skills is None else len(maker.skills), maker.id))
        self.bits = {maker.id: 1 << number for number, maker in enumerate(by_use)}
        self.there = _there([maker.calendar for maker in by_use], slots)
        comes = (re.finditer(b"\0\1", maker.calendar.open) for maker in by_use)
        self.arrivals = sorted({found.start() + 1 for each in comes for found in each})
        self.together = _Together({self.bits[maker.id]: maker.calendar for maker in by_use})
        self.names = _Names(self.bits)
        self._choices = _Choices()

    def choose(self, free: int, size: int, must: int, at: int, work: int, anybody: Calendar) -> int:
        """Of the ``size`` out of ``free``, with all of ``must``, who start ``work`` slots now, those who end it the soonest.

        Of equals the first, with the lowest bits. None ends before ``anybody`` would, so that the search is mostly short.
        """
        crews = self._choices[free, size, must]
        best, soonest, number = crews[0], anybody.beyond, anybody.before[at] + work
        bound = anybody.own[number - 1] if number <= len(anybody.own) else soonest
        for crew in crews:
            calendar = self.together[crew]
            try:
                last = calendar.own[calendar.before[at] + work - 1]
            except IndexError:  # not within the grid
                continue
            if last < soonest:
                best, soonest = crew, last
                if last == bound:
                    break
        return best


def _there(calendars: Sequence[Calendar], slots: int) -> Sequence[int]:
    """Eight makers at a time, because a calendar has a byte a slot."""
    there: Sequence[int] = bytes(slots)
    for first in range(0, len(calendars), 8):
        some = enumerate(calendars[first : first + 8])
        bits = sum(int.from_bytes(calendar.open, "little") << bit for bit, calendar in some).to_bytes(slots, "little")
        there = [low | high << first for low, high in zip(there, bits, strict=True)] if first else bits
    return there


class _Together(dict[int, Calendar]):
    def __missing__(self, crew: int) -> Calendar:
        one = crew & -crew
        calendar = self[one].both(self[crew ^ one])
        if len(self) < _MOST_KEPT:
            self[crew] = calendar
        return calendar


class _Choices(dict[tuple[int, int, int], tuple[int, ...]]):
    def __missing__(self, ask: tuple[int, int, int]) -> tuple[int, ...]:
        free, size, must = ask
        others = [1 << bit for bit in range(free.bit_length()) if free & ~must & 1 << bit]
        some = islice(combinations(others, size - must.bit_count()), _MOST_COMPARED)
        crews = self[ask] = tuple(must | sum(crew) for crew in some)
        return crews


class _Names(dict[int, tuple[str, ...]]):
    def __init__(self, bits: dict[str, int]) -> None:
        super().__init__()
        self._bits = bits

    def __missing__(self, crew: int) -> tuple[str, ...]:
        names = self[crew] = tuple(sorted(maker for maker, bit in self._bits.items() if bit & crew))
        return names
