"""Working days against numpy's business days, and hours against a clock that is read minute by minute."""

import json
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from studio.craft.workdays import Calendar, Grid, Hours, calendar, worked_days
from tests.conftest import need_shared

pytestmark = pytest.mark.once

LONDON = ZoneInfo("Europe/London")
FIRST, DAYS = date(2025, 12, 1), 800
GRID = Grid(LONDON, FIRST, DAYS)
A_DAY = 32  # slots: eight hours

# Bank holidays in England and Wales, gov.uk/bank-holidays (from memory; tests/workshop/test_public_days.py says more).
ENGLAND = [
    *(date(2026, *day) for day in ((1, 1), (4, 3), (4, 6), (5, 4), (5, 25), (8, 31), (12, 25), (12, 28))),
    *(date(2027, *day) for day in ((1, 1), (3, 26), (3, 29), (5, 3), (5, 31), (8, 30), (12, 27), (12, 28))),
]
MONDAY_TO_FRIDAY = [True] * 5 + [False] * 2
MONDAY_TO_SATURDAY = [True] * 6 + [False]


def shop(mask: list[bool], closed: list[date]) -> Calendar:
    return calendar(GRID, {day: [(time(8), time(16))] for day in range(7) if mask[day]}, closed=closed)


def count(found: Calendar, first: date, last: date) -> int:
    """Worked days from ``first`` up to, not including, ``last``, as numpy counts them."""
    return worked_days(GRID, found, first - timedelta(1), last - timedelta(1))


def later(found: Calendar, day: date, days: int) -> date:
    """The day on which so many days' work ends that begins after ``day``."""
    return GRID.day(found.end(GRID.starts(day + timedelta(1)), days * A_DAY) - 1)


def earlier(found: Calendar, day: date, days: int) -> date:
    """The latest day on which so many days' work can begin that is over before ``day``."""
    return GRID.day(found.start(GRID.starts(day), days * A_DAY))


# The right values are numpy 2.4's, as the next two tests reckon them again.
COUNTS = [
    (date(2026, 12, 21), date(2027, 1, 4), ENGLAND, 7),
    (date(2026, 12, 21), date(2027, 1, 4), [], 10),
    (date(2026, 1, 1), date(2027, 1, 1), ENGLAND, 253),
    (date(2026, 1, 1), date(2027, 1, 1), [], 261),
]
OFFSETS = [
    (date(2026, 4, 2), 1, MONDAY_TO_FRIDAY, ENGLAND, date(2026, 4, 7)),  # over Easter
    (date(2026, 12, 24), 1, MONDAY_TO_FRIDAY, ENGLAND, date(2026, 12, 29)),
    (date(2026, 11, 26), 5, MONDAY_TO_SATURDAY, [], date(2026, 12, 2)),
]


@pytest.mark.parametrize(("first", "last", "closed", "days"), COUNTS)
def test_counts_of_days(first: date, last: date, closed: list[date], days: int) -> None:
    assert np.busday_count(first, last, holidays=closed) == days
    assert count(shop(MONDAY_TO_FRIDAY, closed), first, last) == days


@pytest.mark.parametrize(("day", "days", "mask", "closed", "then"), OFFSETS)
def test_days_later(day: date, days: int, mask: list[bool], closed: list[date], then: date) -> None:
    assert np.busday_offset(day, days, weekmask=mask, holidays=closed) == np.datetime64(then)
    assert later(shop(mask, closed), day, days) == then


def test_a_saturday_rolls_to_the_next_day_that_is_worked() -> None:
    boxing_day, then = date(2026, 12, 26), date(2026, 12, 29)
    assert np.busday_offset(boxing_day, 0, roll="forward", holidays=ENGLAND) == np.datetime64(then)
    found = shop(MONDAY_TO_FRIDAY, ENGLAND)
    assert GRID.day(found.next_open(GRID.starts(boxing_day))) == then


@settings(deadline=None)
@given(
    st.lists(st.booleans(), min_size=7, max_size=7).filter(any),
    st.lists(st.dates(FIRST, FIRST + timedelta(DAYS - 1)), max_size=40, unique=True),
    st.dates(date(2026, 6, 1), date(2027, 3, 1)),
    st.integers(1, 20),
    st.integers(-150, 150),
)
def test_any_week_and_any_holidays(mask: list[bool], closed: list[date], day: date, days: int, away: int) -> None:
    found, other = shop(mask, closed), day + timedelta(away)
    first, last = sorted((day, other))
    assert count(found, first, last) == np.busday_count(first, last, weekmask=mask, holidays=closed)
    on = np.busday_offset(day, days, roll="preceding", weekmask=mask, holidays=closed)
    back = np.busday_offset(day, -days, roll="following", weekmask=mask, holidays=closed)
    assert np.datetime64(later(found, day, days)) == on
    assert np.datetime64(earlier(found, day, days)) == back


@pytest.mark.shared
def test_the_holidays_here_are_those_of_the_open_data() -> None:
    """That file lists the days themselves at weekends too, beside their substitutes."""
    listed = json.loads(need_shared("planning/uk_holidays_2026_27.json").read_text())["england_bank_holidays"]
    assert [day for day in map(date.fromisoformat, listed) if day.weekday() < 5] == ENGLAND


# --- hours, minute by minute


def minute_by_minute(grid: Grid, hours: Hours, closed: set[date], overtime: list[tuple[date, time, time]]) -> list[int]:
    """Open minutes of each slot, by reading the wall's clock at every minute from the first local midnight on.

    Written apart from the module: no quarter hours, no days, no patterns, only the spans and a clock.
    """
    zero = datetime(grid.first.year, grid.first.month, grid.first.day, tzinfo=grid.zone).astimezone(UTC)
    extra = [(datetime.combine(day, start), end_of(day, start, end)) for day, start, end in overtime]

    def is_open(clock: datetime) -> bool:
        if any(start <= clock < end for start, end in extra):
            return True
        if clock.date() in closed:
            return False
        return any(
            datetime.combine(day, start) <= clock < end_of(day, start, end)
            for day in (clock.date(), clock.date() - timedelta(1))
            for start, end in hours.get(day.weekday(), ())
        )

    minutes = (zero + timedelta(minutes=number) for number in range(grid.slots * 15))
    read = [is_open(minute.astimezone(grid.zone).replace(tzinfo=None)) for minute in minutes]
    return [sum(read[slot : slot + 15]) for slot in range(0, len(read), 15)]


def end_of(day: date, start: time, end: time) -> datetime:
    return datetime.combine(day if end > start else day + timedelta(1), end)


quarters = st.builds(time, st.integers(0, 23), st.sampled_from((0, 15, 30, 45)))
weeks = st.dictionaries(st.integers(0, 6), st.lists(st.tuples(quarters, quarters), max_size=3), max_size=7)
firsts = st.sampled_from(
    [date(2026, 3, 28), date(2026, 10, 24), date(2026, 4, 4), date(2026, 10, 3), date(2028, 2, 28)]
)
near = firsts.flatmap(lambda first: st.dates(first - timedelta(2), first + timedelta(4)))
zones = st.sampled_from(["Europe/London", "Australia/Lord_Howe", "Asia/Kathmandu", "America/St_Johns"]).map(ZoneInfo)


@settings(deadline=None)
@given(zones, firsts, weeks, st.sets(near, max_size=2), st.lists(st.tuples(near, quarters, quarters), max_size=2))
@example(LONDON, date(2026, 3, 28), {5: [(time(22), time(6))]}, set(), [])
@example(LONDON, date(2026, 10, 24), {5: [(time(22), time(6))]}, {date(2026, 10, 25)}, [])
@example(ZoneInfo("Australia/Lord_Howe"), date(2026, 4, 4), {}, set(), [(date(2026, 4, 4), time(23), time(4))])
def test_hours_minute_by_minute(
    zone: ZoneInfo, first: date, hours: Hours, closed: set[date], overtime: list[tuple[date, time, time]]
) -> None:
    grid = Grid(zone, first, 2)
    found = calendar(grid, hours, closed=closed, overtime=overtime)
    assert [15 * byte for byte in found.open] == minute_by_minute(grid, hours, closed, overtime)
