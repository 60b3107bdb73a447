"""Days and hours on the quarter-hour grid: its two maps, and the nights on which clocks change."""

from dataclasses import FrozenInstanceError
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.craft.workdays import Calendar, Grid, Hours, always, calendar, worked_days

pytestmark = pytest.mark.once

LONDON = ZoneInfo("Europe/London")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")  # its clocks change by half an hour (IANA time zone database)
KATHMANDU = ZoneInfo("Asia/Kathmandu")  # 5:45 ahead of UTC all year
SANTIAGO = ZoneInfo("America/Santiago")  # clocks change at midnight, so that a day can begin at 01:00

DAY: Hours = {weekday: [(time(8), time(16))] for weekday in range(5)}
NIGHT: Hours = {weekday: [(time(22), time(6))] for weekday in range(7)}
MONDAY = date(2026, 3, 9)

opens = st.lists(st.integers(0, 1), max_size=80).map(bytes)


def week_from(first: date, days: int = 7, zone: ZoneInfo = LONDON) -> Grid:
    return Grid(zone, first, days)


def clock(grid: Grid, found: Calendar) -> list[str]:
    """Each open stretch as people say it: when it begins and ends, in local time."""
    stretches = [list(slots) for is_open, slots in groupby(range(grid.slots), found.open.__getitem__) if is_open]
    return [f"{grid.at(slots[0]):%a %H:%M} – {grid.at(slots[-1] + 1):%a %H:%M}" for slots in stretches]


# --- the grid


@pytest.mark.parametrize(
    ("zone", "day", "slots"),
    [
        (LONDON, date(2026, 3, 28), 96),
        (LONDON, date(2026, 3, 29), 92),  # the last Sunday in March: Summer Time Order 2002 (from memory)
        (LONDON, date(2026, 10, 25), 100),  # the last Sunday in October
        (LORD_HOWE, date(2026, 4, 5), 98),  # the first Sunday in April, half an hour back
        (LORD_HOWE, date(2026, 10, 4), 94),  # the first Sunday in October, half an hour on
        (KATHMANDU, date(2026, 3, 29), 96),
        (SANTIAGO, date(2026, 9, 6), 92),
    ],
)
def test_a_day_is_as_long_as_it_is(zone: ZoneInfo, day: date, slots: int) -> None:
    assert week_from(day, 1, zone).slots == slots


def test_a_year_of_clock_changes_loses_nothing() -> None:
    assert week_from(date(2026, 1, 1), 365).slots == 365 * 96
    assert week_from(date(2028, 1, 1), 366).slots == 366 * 96
    assert week_from(date(2026, 1, 1), 180).slots == 180 * 96 - 4


def test_a_slot_holds_its_quarter_hour() -> None:
    grid = week_from(MONDAY)
    assert grid.slot(datetime(2026, 3, 9, 8, 0, tzinfo=LONDON)) == 32
    assert grid.slot(datetime(2026, 3, 9, 8, 14, 59, 999_999, tzinfo=LONDON)) == 32
    assert grid.slot(datetime(2026, 3, 9, 8, 15, tzinfo=UTC)) == 33
    assert grid.slot_up(datetime(2026, 3, 9, 8, 0, tzinfo=LONDON)) == 32
    assert grid.slot_up(datetime(2026, 3, 9, 8, 0, 0, 1, tzinfo=LONDON)) == 33
    assert grid.at(33) == datetime(2026, 3, 9, 8, 15, tzinfo=LONDON)
    assert grid.at(33).tzinfo is LONDON


def test_moments_outside_the_grid_have_slots_too() -> None:
    grid = week_from(MONDAY)
    before, after = datetime(2026, 3, 8, 23, 50, tzinfo=LONDON), datetime(2026, 3, 16, 0, 10, tzinfo=LONDON)
    assert (grid.slot(before), grid.slot_up(before)) == (-1, 0)
    assert (grid.slot(after), grid.slot_up(after)) == (grid.slots, grid.slots + 1)
    assert grid.day(-1) == date(2026, 3, 8)
    assert grid.day(grid.slots) == date(2026, 3, 16)


def test_the_hour_that_comes_twice_has_slots_for_both() -> None:
    grid = week_from(date(2026, 10, 25), 1)
    first, second = (grid.slot(datetime(2026, 10, 25, 1, 30, fold=fold, tzinfo=LONDON)) for fold in (0, 1))
    assert (first, second) == (6, 10)
    assert [grid.at(slot).strftime("%H:%M %Z") for slot in (first, second)] == ["01:30 BST", "01:30 GMT"]


def test_a_day_may_begin_at_one() -> None:
    grid = week_from(date(2026, 9, 5), 3, SANTIAGO)
    begins = grid.starts(date(2026, 9, 6))
    assert grid.at(begins).strftime("%H:%M") == "01:00"
    assert (grid.day(begins - 1), grid.day(begins)) == (date(2026, 9, 5), date(2026, 9, 6))


@given(
    st.sampled_from([LONDON, LORD_HOWE, KATHMANDU, SANTIAGO]),
    st.dates(date(2025, 1, 1), date(2030, 12, 31)),
    st.integers(1, 400),
    st.integers(-500, 45_000),
)
def test_slots_days_and_moments_agree(zone: ZoneInfo, first: date, days: int, slot: int) -> None:
    grid = Grid(zone, first, days)
    at = grid.at(slot)
    assert grid.slot(at) == grid.slot_up(at) == slot
    assert grid.slot(at + timedelta(minutes=14)) == slot
    assert grid.starts(grid.day(slot)) <= slot < grid.starts(grid.day(slot) + timedelta(1))
    assert grid.starts(first) == 0
    assert grid.starts(first + timedelta(days)) == grid.slots


# --- hours


def test_a_week_of_hours() -> None:
    grid = week_from(MONDAY)
    hours: Hours = {0: [(time(8, 30), time(12)), (time(13), time(17, 15))], 5: [(time(9), time(13))], 6: []}
    assert clock(grid, calendar(grid, hours)) == [
        "Mon 08:30 – Mon 12:00",
        "Mon 13:00 – Mon 17:15",
        "Sat 09:00 – Sat 13:00",
    ]


def test_the_week_begins_where_the_grid_does() -> None:
    grid = week_from(date(2026, 3, 13), 4)  # a Friday
    assert clock(grid, calendar(grid, DAY)) == ["Fri 08:00 – Fri 16:00", "Mon 08:00 – Mon 16:00"]


def test_an_evening_may_end_at_midnight_and_a_day_may_have_no_end() -> None:
    grid = week_from(MONDAY, 3)
    hours: Hours = {0: [(time(18), time(0))], 2: [(time(0), time(0))]}
    assert clock(grid, calendar(grid, hours)) == ["Mon 18:00 – Tue 00:00", "Wed 00:00 – Thu 00:00"]


def test_a_span_over_midnight_is_two() -> None:
    grid = week_from(MONDAY, 3)
    hours: Hours = {0: [(time(22), time(6))], 6: [(time(23), time(1))]}
    found = calendar(grid, hours)
    assert clock(grid, found) == ["Mon 00:00 – Mon 01:00", "Mon 22:00 – Tue 06:00"]
    assert clock(grid, calendar(grid, hours, closed=[date(2026, 3, 10)])) == [
        "Mon 00:00 – Mon 01:00",
        "Mon 22:00 – Tue 00:00",
    ]


def test_a_quarter_hour_that_is_covered_in_part_is_not_open() -> None:
    grid = week_from(MONDAY, 1)
    assert clock(grid, calendar(grid, {0: [(time(8, 5), time(12, 10))]})) == ["Mon 08:15 – Mon 12:00"]
    assert calendar(grid, {0: [(time(8, 5), time(8, 10))]}).open == bytes(96)


def test_without_hours_nobody_is_there() -> None:
    grid = week_from(MONDAY)
    assert calendar(grid, {}).open == bytes(grid.slots)


def test_absences_and_closures_are_whole_days() -> None:
    grid = week_from(MONDAY)
    found = calendar(grid, DAY, closed={date(2026, 3, 10), date(2026, 3, 14), date(2027, 1, 1)})
    assert clock(grid, found) == [f"{day} 08:00 – {day} 16:00" for day in ("Mon", "Wed", "Thu", "Fri")]


def test_overtime_counts_on_closed_days_too() -> None:
    grid = week_from(MONDAY)
    overtime = [
        (date(2026, 3, 9), time(15), time(18)),
        (date(2026, 3, 10), time(9), time(11)),
        (date(2026, 3, 14), time(20), time(2)),
        (date(2026, 4, 1), time(9), time(11)),
    ]
    found = calendar(grid, {0: DAY[0], 1: DAY[1]}, closed=[date(2026, 3, 10)], overtime=overtime)
    assert clock(grid, found) == ["Mon 08:00 – Mon 18:00", "Tue 09:00 – Tue 11:00", "Sat 20:00 – Sun 02:00"]


def test_always_is_every_slot() -> None:
    grid = week_from(date(2026, 10, 25), 1)
    assert always(grid).open == b"\1" * 100


# --- nights when clocks change


@pytest.mark.parametrize(
    ("zone", "evening", "slots"),
    [
        (LONDON, date(2026, 3, 27), 32),
        (LONDON, date(2026, 3, 28), 28),
        (LONDON, date(2026, 10, 24), 36),
        (LORD_HOWE, date(2026, 4, 4), 34),
        (LORD_HOWE, date(2026, 10, 3), 30),
        (KATHMANDU, date(2026, 3, 28), 32),
        (SANTIAGO, date(2026, 9, 5), 28),
    ],
)
def test_a_night_shift_is_as_long_as_its_night(zone: ZoneInfo, evening: date, slots: int) -> None:
    grid = week_from(evening, 2, zone)
    noon, next_noon = 48, grid.starts(evening + timedelta(1)) + 48
    assert calendar(grid, NIGHT).worked(noon, next_noon) == slots
    assert calendar(grid, {}, overtime=[(evening, time(22), time(6))]).worked(noon, next_noon) == slots


def test_a_day_at_work_is_the_same_before_and_after_a_change() -> None:
    for first in (date(2026, 3, 28), date(2026, 10, 24)):
        grid = week_from(first, 4)
        found = calendar(grid, DAY)
        assert clock(grid, found) == ["Mon 08:00 – Mon 16:00", "Tue 08:00 – Tue 16:00"]
        assert len(found.own) == 64


def test_an_hour_that_is_skipped_is_nobodys() -> None:
    grid = week_from(date(2026, 3, 29), 1)
    assert calendar(grid, {6: [(time(1), time(2))]}).open == bytes(92)
    assert clock(grid, calendar(grid, {6: [(time(0), time(1, 30))]})) == [
        "Sun 00:00 – Sun 02:00"
    ]  # the clock jumps there
    assert calendar(grid, {6: [(time(0), time(1, 30))]}).worked(0, 92) == 4


def test_an_hour_that_comes_twice_is_worked_twice() -> None:
    grid = week_from(date(2026, 10, 25), 1)
    assert calendar(grid, {6: [(time(1), time(2))]}).worked(0, 100) == 8
    assert calendar(grid, {}, overtime=[(date(2026, 10, 25), time(0, 30), time(3))]).worked(0, 100) == 14


def test_kathmandu_opens_on_its_own_quarter_hours() -> None:
    grid = week_from(MONDAY, 1, KATHMANDU)
    found = calendar(grid, DAY)
    assert grid.at(found.own[0]).astimezone(UTC) == datetime(2026, 3, 9, 2, 15, tzinfo=UTC)
    assert grid.slot(datetime(2026, 3, 9, 2, 15, tzinfo=UTC)) == found.own[0] == 32


def test_the_day_that_only_leap_years_have() -> None:
    grid = week_from(date(2028, 2, 26), 6)  # Saturday to Thursday
    found = calendar(grid, DAY)
    assert clock(grid, found)[1] == "Tue 08:00 – Tue 16:00"
    assert grid.day(found.own[32]) == date(2028, 2, 29)
    assert worked_days(grid, found, date(2028, 2, 28), date(2028, 3, 1)) == 2
    assert len(calendar(grid, DAY, closed=[date(2028, 2, 29)]).own) == len(found.own) - 32


# --- the two maps


def test_a_calendar_stays_as_it_is() -> None:
    found = Calendar(b"\0\1\1\0")
    assert (list(found.before), list(found.own), found.beyond) == ([0, 0, 1, 2, 2], [1, 2], 5)
    assert found == Calendar(b"\0\1\1\0")
    assert hash(found) == hash(Calendar(b"\0\1\1\0"))
    with pytest.raises(FrozenInstanceError):
        found.open = b""  # type: ignore[misc]


def test_the_edges_of_the_grid() -> None:
    found = Calendar(b"\0\1\1\0\1")
    assert [found.next_open(t) for t in (-3, 0, 1, 3, 4, 5, 6, 99)] == [1, 1, 1, 4, 4, 6, 6, 6]
    assert Calendar(b"\1\0").next_open(1) == 3
    assert found.end(0, 3) == 5  # the grid's own end
    assert found.end(0, 4) == found.end(5, 1) == found.end(99, 1) == found.beyond == 6
    assert found.end(-7, 1) == 2
    assert [found.end(t, 0) for t in (-7, 0, 3, 99)] == [-7, 0, 3, 99]
    assert (found.start(5, 3), found.start(99, 3), found.start(5, 1)) == (1, 1, 4)
    assert [found.start(e, 0) for e in (-7, 0, 3, 99)] == [-7, 0, 3, 99]
    assert (found.start(5, 5), found.start(0, 2), found.start(-3, 2)) == (-2, -2, -5)
    assert (found.worked(-9, 99), found.worked(1, 4), found.worked(4, 1), found.worked(99, 200)) == (3, 2, -2, 0)


@given(opens)
def test_the_maps_undo_each_other(is_open: bytes) -> None:
    found = Calendar(is_open)
    assert list(found.before) == [sum(is_open[:slot]) for slot in range(len(is_open) + 1)]
    assert list(found.own) == [slot for slot, byte in enumerate(is_open) if byte]
    assert [found.before[slot] for slot in found.own] == list(range(len(found.own)))
    assert all(found.own[found.before[slot]] == slot for slot, byte in enumerate(is_open) if byte)


@given(opens.flatmap(lambda one: st.tuples(st.just(one), st.binary(min_size=len(one), max_size=len(one)))))
def test_both_and_either_are_slot_by_slot(pair: tuple[bytes, bytes]) -> None:
    one, other = pair[0], bytes(byte % 2 for byte in pair[1])
    assert Calendar(one).both(Calendar(other)).open == bytes(a and b for a, b in zip(one, other, strict=True))
    assert Calendar(one).either(Calendar(other)).open == bytes(a or b for a, b in zip(one, other, strict=True))


@given(opens, st.integers(-5, 90), st.integers(1, 30))
def test_an_end_is_where_counting_slots_ends(is_open: bytes, t: int, work: int) -> None:
    found = Calendar(is_open)
    ends = [end for end in range(max(t, 0), len(is_open) + 1) if sum(is_open[max(t, 0) : end]) >= work]
    assert found.end(t, work) == (ends[0] if ends else found.beyond)
    opening = [slot for slot in range(max(t, 0), len(is_open)) if is_open[slot]]
    assert found.next_open(t) == (opening[0] if opening else found.beyond)


@given(opens, st.integers(0, 90), st.integers(1, 30))
def test_a_start_is_the_latest_that_is_early_enough(is_open: bytes, end: int, work: int) -> None:
    found = Calendar(is_open)
    starts = [start for start in range(len(is_open)) if sum(is_open[start:end]) >= work]
    assert found.start(end, work) == (starts[-1] if starts else sum(is_open[:end]) - work)


@given(opens, st.integers(-5, 90), st.integers(0, 30))
def test_ends_and_starts_lead_back(is_open: bytes, t: int, work: int) -> None:
    found = Calendar(is_open)
    end, start = found.end(t, work), found.start(t, work)
    if end != found.beyond:
        assert found.start(end, work) >= t  # later where nobody was there at first
        assert found.end(found.start(end, work), work) == end
    if start >= 0:
        assert found.end(start, work) <= t
        assert found.start(found.end(start, work), work) == start


# --- days


def test_days_are_worked_when_somebody_was_there() -> None:
    grid = week_from(MONDAY, 14)
    found = calendar(grid, DAY, closed=[date(2026, 3, 16)], overtime=[(date(2026, 3, 14), time(9), time(9, 15))])
    assert worked_days(grid, found, MONDAY, date(2026, 3, 13)) == 4
    assert worked_days(grid, found, date(2026, 3, 13), date(2026, 3, 17)) == 2  # Saturday's overtime and Tuesday
    assert worked_days(grid, found, MONDAY, MONDAY) == 0
    assert worked_days(grid, found, date(2026, 3, 13), MONDAY) == 0
    assert worked_days(grid, found, date.min, date.max) == 10
    assert worked_days(grid, found, date(2027, 1, 1), date.max) == 0
    assert worked_days(grid, found, date.min, date(2026, 3, 1)) == 0


@settings(deadline=None)
@given(st.data())
def test_days_are_counted_as_they_look(data: st.DataObject) -> None:
    grid = week_from(date(2026, 3, 23), data.draw(st.integers(1, 20)))
    days = st.dates(date(2026, 3, 15), date(2026, 4, 20))
    found = calendar(grid, {**NIGHT, 2: [], 3: []}, closed=data.draw(st.sets(days, max_size=6)))
    after, upto = data.draw(days), data.draw(days)
    seen = {grid.day(slot) for slot in found.own}
    assert worked_days(grid, found, after, upto) == sum(after < day <= upto for day in seen)
