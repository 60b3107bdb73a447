"""The geometry of the lying rule: where days lie, against an outside count of working days, and what is drawn for what."""

import re
from datetime import date, timedelta
from itertools import pairwise

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.office import lying
from studio.office.lying import Line, Scale, WorkedDays

pytestmark = pytest.mark.once

WEEK = [["08:00", "17:00"]] * 5 + [[], []]
TODAY = date(2026, 11, 24)  # a Tuesday
NEAR = st.dates(TODAY - timedelta(400), TODAY + timedelta(400))
ON = Scale(before=15, after=5)  # so that each worked day is five hundredths of the line


def days(*closed: tuple[date, date], week: list[list[str]] = WEEK) -> WorkedDays:
    return WorkedDays(week, closed, TODAY)


def line(ready: date | None, due: date | None, hand: int | None = None, *, held: bool = False) -> Line:
    return lying.line(days(), TODAY, ready, due, hand, held)


def drawn(told: Line, on: Scale = ON) -> str:
    return str(lying.drawing(told, on))


def planks(svg: str) -> list[tuple[str, float, float]]:
    """Each with its class, and where it begins and ends, in worked days from the upright on the scale ON."""
    found = re.findall(r'<rect class="([\w ]+)" fill="[\w()#]+" x="([\d.]+)%" width="([\d.]+)%"', svg)
    return [
        (kind, round(float(x) / 5 - 15, 1), round((float(x) + float(width)) / 5 - 15, 1)) for kind, x, width in found
    ]


@given(
    a=NEAR, b=NEAR, shut=st.lists(st.tuples(NEAR, st.integers(0, 20)), max_size=4), open_on=st.sets(st.integers(0, 6))
)
def test_days_are_counted_as_numpy_counts_them(
    a: date, b: date, shut: list[tuple[date, int]], open_on: set[int]
) -> None:
    """numpy.busday_count counts days in [begin, end), so both ends move by one day."""
    week = [["08:00"] if number in open_on else [] for number in range(7)]
    closed = [(first, first + timedelta(length)) for first, length in shut]
    counted = days(*closed, week=week)
    holidays = [first + timedelta(number) for first, last in closed for number in range((last - first).days + 1)]
    first, last = (day + timedelta(1) for day in sorted([a, b]))
    weekmask = [number in open_on for number in range(7)]
    expected = numpy.busday_count(first, last, weekmask=weekmask, holidays=holidays) if open_on else 0
    assert counted.between(min(a, b), max(a, b)) == expected
    assert counted.between(max(a, b), min(a, b)) == -expected
    assert counted.works(a) == (a.weekday() in open_on and a not in holidays)


def test_a_day_far_beyond_stands_at_the_end() -> None:
    counted = days((date.max, date.max), (date.min, date.min))
    assert counted.between(TODAY, date.max) == counted.between(TODAY, date(2099, 1, 1)) > 300
    assert counted.between(date.min, TODAY) > 300


def test_weeks_begin_before_their_monday_and_a_closed_week_has_none() -> None:
    friday = date(2026, 12, 4)
    assert days().mondays(friday)[-3:] == ((-5, "30 Nov"), (0, "7 Dec"), (5, "14 Dec"))
    shut = days((date(2026, 12, 7), date(2026, 12, 13)), (date(2026, 11, 30), date(2026, 12, 1)))
    assert shut.mondays(friday)[-3:] == ((-3, "30 Nov"), (0, "14 Dec"), (5, "21 Dec"))


def test_the_plank_goes_from_today_up_to_ready_and_the_gap_has_its_days() -> None:
    """From Tuesday 24 November to Friday 27 it takes four days; a van on Friday 4 December leaves five of them in hand."""
    svg = drawn(line(date(2026, 11, 27), date(2026, 12, 4), 5))
    assert planks(svg) == [("plank", -9, -5)]
    assert re.search(r'<line class="gap" x1="50%" x2="75%"', svg)
    assert ">5<tspan> days</tspan></text>" in svg
    assert ">4 Dec</text>" in svg
    assert ">today</text>" in svg
    assert "late" not in svg


def test_what_sticks_out_is_drawn_apart() -> None:
    svg = drawn(line(date(2026, 12, 2), date(2026, 11, 30), -2))
    assert planks(svg) == [("plank", -5, 0), ("plank late", 0, 2)]
    assert 'fill="url(#over)"' in svg
    assert ">2<tspan> days</tspan></text>" in svg


def test_level_with_the_van_has_no_gap() -> None:
    svg = drawn(line(date(2026, 12, 4), date(2026, 12, 4), 0))
    assert planks(svg) == [("plank", -9, 0)]
    assert "marker" not in svg


def test_ready_before_the_shop_opens_again_sticks_out_by_half_a_day() -> None:
    svg = drawn(line(date(2026, 12, 5), date(2026, 12, 4), 0))
    assert planks(svg)[-1] == ("plank late", 0, 0.5)
    assert ">½<tspan> day</tspan></text>" in svg


def test_a_van_that_has_gone_leaves_all_of_it_over() -> None:
    svg = drawn(line(date(2026, 11, 25), date(2026, 11, 19), -4))
    assert planks(svg) == [("plank late", 2, 4)]


def test_what_lies_beyond_the_line_is_torn() -> None:
    far = drawn(line(date(2027, 1, 8), date(2027, 1, 11), 1))
    assert planks(far) == [("plank", -15, -1)]
    assert 'href="#torn" x="0%"' in far
    assert "today" not in far
    late = drawn(line(date(2026, 12, 18), date(2026, 11, 30), -14))
    assert planks(late)[-1] == ("plank late", 0, 5)
    assert 'href="#ripped" x="100%"' in late
    assert ">14</text>" in late
    early = drawn(line(date(2026, 11, 27), date(2027, 1, 11), 31))
    assert [kind for kind, _, _ in planks(early)] == ["plank"]
    assert planks(early)[0][2] < -14
    assert 'href="#torn"' in early
    assert 'href="#ripped"' in early
    assert ">31<tspan> days</tspan></text>" in early
    gone = drawn(line(date(2026, 11, 27), date(2026, 10, 1), -41))
    assert planks(gone)[0][:2] == ("plank late", 4.3)


def test_what_is_over_by_more_than_was_counted_is_torn_and_has_no_number() -> None:
    long_ago = lying.line(days(), TODAY, date(2026, 11, 27), date(2020, 1, 1), -3, held=False, cut=True)
    svg = drawn(long_ago)
    assert planks(svg)[-1][2] == 5
    assert 'href="#ripped" x="100%"' in svg
    assert "<tspan>" not in svg
    assert 'class="late start"' not in svg
    assert 'class="late end"' not in svg
    assert re.findall(r'<text class="van[^>]*>([^<]+)<', svg) == ["1 Jan"]
    assert lying.scale([long_ago]) == Scale(9, 6)


def test_around_a_day_beyond_all_that_is_counted_no_weeks_are_drawn() -> None:
    furthest = TODAY + timedelta(weeks=80)
    assert days().mondays(date(2020, 1, 1)) == days().mondays(furthest) == days().mondays(date.max) == ()
    assert days().mondays(TODAY - timedelta(weeks=60))


def test_held_is_an_open_frame() -> None:
    svg = drawn(line(date(2026, 12, 2), date(2026, 11, 30), -2, held=True))
    assert planks(svg) == [("plank held", -5, 0), ("plank late held", 0, 2)]
    assert "url(#wood)" not in svg
    assert svg.count('class="brace"') == 4


def test_without_a_van_there_is_no_upright_and_the_plank_begins_the_line() -> None:
    svg = drawn(line(date(2026, 11, 27), None))
    assert planks(svg) == [("plank", -15, -11)]
    assert "pin" not in svg
    assert "ball" not in svg
    assert ">30 Nov</text>" in svg


def test_nothing_known_still_shows_van_and_today() -> None:
    svg = drawn(line(None, date(2026, 12, 4)))
    assert planks(svg) == []
    assert 'class="pin"' in svg
    assert ">today</text>" in svg


def test_a_plank_of_no_days_can_still_be_seen() -> None:
    """On a Sunday, ready that very day."""
    sunday = date(2026, 11, 22)
    told = lying.line(WorkedDays(WEEK, (), sunday), sunday, sunday, date(2026, 11, 27), 5, held=False)
    (_, begins, ends), *others = planks(drawn(told))
    assert not others
    assert ends - begins > 0.5


@given(ready=NEAR, due=NEAR)
def test_the_upright_is_at_the_same_place_on_every_line(ready: date, due: date) -> None:
    counted = days()
    hand = counted.between(ready, due)
    svg = drawn(lying.line(counted, TODAY, max(ready, TODAY), due, hand, held=False))
    assert re.findall(r'class="pin" x1="([\d.]+)%"', svg) == ["75"]
    assert "style" not in svg
    for _, begins, ends in planks(svg):
        assert -15 <= begins < ends <= 5


def test_words_under_the_line_keep_apart() -> None:
    """Three days are 54 px on the narrowest phone; the words are some 35."""
    for number in range(12):
        svg = drawn(lying.line(days(), TODAY, TODAY, TODAY + timedelta(number), 0, held=False))
        middles = [
            float(x)
            for kind, x in re.findall(r'<text(?: class="(?:van|now)( start| end)?")? x="([\d.]+)%" y="65"', svg)
            if not kind
        ]
        middles.sort()
        assert all(b - a > 12.5 for a, b in pairwise(middles))
        if number == 1:
            assert 'class="now end"' in svg
            assert 'class="van start"' in svg


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ([], Scale(17, 3)),
        ([line(date(2026, 11, 27), date(2026, 12, 4), 5)], Scale(10, 3)),
        ([line(date(2026, 11, 25), date(2026, 11, 26), 1)], Scale(9, 3)),
        ([line(date(2026, 12, 4), date(2026, 11, 30), -4)], Scale(9, 6)),
        ([line(date(2026, 12, 31), date(2026, 11, 30), -23), line(TODAY, date(2027, 3, 1), 69)], Scale(14, 6)),
        ([line(date(2026, 11, 27), None)], Scale(17, 3)),
    ],
)
def test_one_scale_for_all(told: list[Line], expected: Scale) -> None:
    """Room for what is over and for today, but never more than twenty days: 14 px each on a phone of 320 px."""
    assert lying.scale(told) == expected


def test_what_lines_are_drawn_with_has_a_tick_a_day() -> None:
    svg = str(lying.shapes(ON))
    assert 'viewBox="0 0 20 6"' in svg
    assert svg.count("v6") >= 21
    assert "style" not in svg
    used = set(re.findall(r'(?:url\(|href=")#([\w-]+)', drawn(line(date(2026, 12, 18), date(2026, 11, 30), -14))))
    used |= set(re.findall(r'(?:url\(|href=")#([\w-]+)', drawn(line(date(2027, 1, 8), date(2027, 1, 11), 1))))
    assert used == {"rule", "wood", "over", "tip", "torn", "ripped", "chalk"} & used
    assert all(f'id="{name}"' in svg for name in used)
