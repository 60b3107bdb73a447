"""Days and hours as whole quarter hours, and two maps between worked time and time on the wall that cost one look each.

A grid counts quarter hours of elapsed time from a local midnight on. A calendar says of each whether somebody is there. The
rule for nights when clocks change: a quarter hour is open when the clock on the wall, as it begins, reads a time within a
span. So a span over the hour that is skipped is an hour shorter, and over the hour that comes twice an hour longer.
"""

from array import array
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from math import ceil
from zoneinfo import ZoneInfo

SLOT_MIN = 15
_SECONDS = SLOT_MIN * 60
_A_DAY = 24 * 60 // SLOT_MIN
_CLOSED = bytes(_A_DAY)

Span = tuple[time, time]
Hours = Mapping[int, Sequence[Span]]
"""Spans of local time by weekday, 0 for Monday. One that does not end after it starts ends on the next day, 00:00 at midnight."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Quarter hours from local midnight of ``first`` up to local midnight after ``days`` days.

    A day when clocks change has more or fewer than 96. Every method also answers outside the grid.
    """

    zone: ZoneInfo
    first: date
    days: int
    slots: int = field(init=False, repr=False, compare=False)
    _zero: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_zero", self._midnight(self.first))
        object.__setattr__(self, "slots", self.starts(self.first + timedelta(self.days)))

    def slot(self, at: datetime) -> int:
        """The slot that holds an aware moment: below 0 before the grid, ``slots`` or more after it."""
        return int((at.timestamp() - self._zero) // _SECONDS)

    def slot_up(self, at: datetime) -> int:
        """The first slot that does not begin before an aware moment."""
        return ceil((at.timestamp() - self._zero) / _SECONDS)

    def at(self, slot: int) -> datetime:
        """When a slot begins, in the grid's zone."""
        return datetime.fromtimestamp(self._zero + slot * _SECONDS, self.zone)

    def day(self, slot: int) -> date:
        """The local day in which a slot begins."""
        return self.at(slot).date()

    def starts(self, day: date) -> int:
        """The first slot of a local day."""
        return int((self._midnight(day) - self._zero) // _SECONDS)

    def _midnight(self, day: date) -> float:
        return datetime.combine(day, time(), self.zone).timestamp()


@dataclass(frozen=True, slots=True)
class Calendar:
    """When somebody is there, or a shop is open: ``open`` has one byte a slot, 1 or 0.

    ``before``  how many open slots come before each slot; one longer than ``open``
    ``own``     the slot of each open slot, in order
    ``beyond``  one more than the number of slots: later than all that the grid knows
    """

    open: bytes
    before: "array[int]" = field(init=False, repr=False, compare=False)
    own: "array[int]" = field(init=False, repr=False, compare=False)
    beyond: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        before, own = _maps(self.open)
        object.__setattr__(self, "before", before)
        object.__setattr__(self, "own", own)
        object.__setattr__(self, "beyond", len(self.open) + 1)

    def next_open(self, t: int) -> int:
        """The first open slot that is not before slot ``t``; ``beyond`` where there is none."""
        if t >= len(self.open):
            return self.beyond
        worked = self.before[max(t, 0)]
        return self.own[worked] if worked < len(self.own) else self.beyond

    def worked(self, a: int, b: int) -> int:
        """Open slots in [a, b); where b comes first, those in [b, a), negative."""
        last = len(self.open)
        return self.before[min(max(b, 0), last)] - self.before[min(max(a, 0), last)]

    def end(self, t: int, work: int) -> int:
        """The slot after the last of ``work`` open slots from ``t`` on; ``t`` without work; ``beyond`` if the grid ends first."""
        if work == 0:
            return t
        if t >= len(self.open):
            return self.beyond
        worked = self.before[max(t, 0)] + work
        return self.own[worked - 1] + 1 if worked <= len(self.own) else self.beyond

    def start(self, end: int, work: int) -> int:
        """The latest start for ``work`` open slots that are over by slot ``end``; ``end`` without work.

        Negative where the grid begins too late: by as many slots as are lacking.
        """
        if work == 0:
            return end
        if end < 0:
            return end - work
        worked = self.before[min(end, len(self.open))] - work
        return self.own[worked] if worked >= 0 else worked

    def both(self, other: "Calendar") -> "Calendar":
        """Open where both are. The two are of one grid."""
        return Calendar(_bytes(_bits(self) & _bits(other), len(self.open)))

    def either(self, other: "Calendar") -> "Calendar":
        """Open where at least one is. The two are of one grid."""
        return Calendar(_bytes(_bits(self) | _bits(other), len(self.open)))


def _maps(is_open: bytes) -> tuple["array[int]", "array[int]"]:
    """``before`` and ``own``, a stretch of equal bytes at a time: ten times as fast as slot by slot."""
    before, own = array("i"), array("i")
    slots, count, shut = len(is_open), _count(len(is_open)), 0
    ended = is_open + b"\0"
    while (first := is_open.find(1, shut)) >= 0:
        last = ended.find(0, first)
        before.extend(array("i", [len(own)]) * (first - shut))
        before.extend(count[len(own) : len(own) + last - first])
        own.extend(count[first:last])
        shut = last
    before.extend(array("i", [len(own)]) * (slots + 1 - shut))
    return before, own


@lru_cache(maxsize=4)
def _count(length: int) -> "array[int]":
    return array("i", range(length))


def _bits(calendar: Calendar) -> int:
    return int.from_bytes(calendar.open, "little")


def _bytes(bits: int, length: int) -> bytes:
    return bits.to_bytes(length, "little")


def calendar(
    grid: Grid, hours: Hours, *, closed: Collection[date] = (), overtime: Collection[tuple[date, time, time]] = ()
) -> Calendar:
    """The open slots of a week's ``hours``, without the local days ``closed``, and with ``overtime`` even on those.

    What runs past midnight counts to the day it runs into. Quarter hours that a span covers only in part are not open.
    """
    week = [bytearray(_A_DAY) for _ in range(7)]
    for weekday, spans in hours.items():
        for offset, first, last in _by_day(spans):
            _open(week[(weekday + offset) % 7], first, last)
    usual = [bytes(day) for day in week]

    special = {day: bytearray(_CLOSED) for day in closed}
    for day, start, end in overtime:
        for offset, first, last in _by_day([(start, end)]):
            on = day + timedelta(offset)
            _open(special.setdefault(on, bytearray(usual[on.weekday()])), first, last)

    parts: list[bytes | bytearray] = []
    weekday, slot = grid.first.weekday(), 0
    for number in range(grid.days):
        day = grid.first + timedelta(number)
        wall = special.get(day) or usual[(weekday + number) % 7]
        following = grid.starts(day + timedelta(1))
        parts.append(wall if following - slot == _A_DAY else _through_change(grid, wall, slot, following))
        slot = following
    return Calendar(b"".join(parts))


def _by_day(spans: Iterable[Span]) -> Iterable[tuple[int, int, int]]:
    """Spans as quarter hours of a day's clock, from and to; those of the next day are marked 1, others 0."""
    for start, end in spans:
        first = ceil((start.hour * 60 + start.minute) / SLOT_MIN)
        last = (end.hour * 60 + end.minute) // SLOT_MIN
        if start < end:
            yield 0, first, last
        else:
            yield 0, first, _A_DAY
            yield 1, 0, last


def _open(wall: bytearray, first: int, last: int) -> None:
    wall[first:last] = b"\1" * (last - first)


def _through_change(grid: Grid, wall: bytes | bytearray, first: int, last: int) -> bytes:
    """A day on which clocks change: for each of its slots, what the clock on the wall then reads."""
    clocks = (grid.at(slot) for slot in range(first, last))
    return bytes(wall[(clock.hour * 60 + clock.minute) // SLOT_MIN] for clock in clocks)


def always(grid: Grid) -> Calendar:
    """Open at all hours: for work that knows no calendar."""
    return Calendar(b"\1" * grid.slots)


def worked_days(grid: Grid, calendar: Calendar, after: date, upto: date) -> int:
    """Days with at least one open slot, later than ``after`` and not later than ``upto``; days outside the grid have none."""
    numbers = range(max((after - grid.first).days + 1, 0), min((upto - grid.first).days + 1, grid.days))
    return sum(
        calendar.worked(grid.starts(day), grid.starts(day + timedelta(1))) > 0
        for day in (grid.first + timedelta(number) for number in numbers)
    )
