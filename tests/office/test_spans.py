"""Hours as people write them. How they are read is this studio's own rule; what a clock and an hour are is common knowledge."""

from datetime import time

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from studio.office.spans import (
    ClockField,
    HoursField,
    SpansField,
    read_hours,
    read_spans,
    told_hours,
    told_week,
    written_hours,
    written_spans,
)

pytestmark = pytest.mark.once

WHOLE_DAY = [["08:00", "12:30"], ["13:00", "17:00"]]


@pytest.mark.parametrize(
    ("written", "minutes"),
    [
        ("6", 360),
        ("6.5", 390),
        ("6,5", 390),
        ("6:30", 390),
        ("6 h 30", 390),
        ("6h30", 390),
        ("6 h 05 min", 375),
        ("6½", 390),
        ("¼", 15),
        ("6 hours", 360),
        ("90 min", 90),
        ("0", 0),
        ("6.1", 375),  # six minutes over are a quarter hour begun
        ("0.01", 15),
        ("10000", 600_000),
        (" 1 H ", 60),
    ],
)
def test_a_length_of_work_is_read_in_quarter_hours_rounded_up(written: str, minutes: int) -> None:
    assert read_hours(written) == minutes


@pytest.mark.parametrize("odd", ["x", "-3", "6:75", "6:5", "1.2.3", "10,000", "six", "1e3", "6.", "h", ":30", "6 30"])
def test_what_is_no_length_gets_a_sentence(odd: str) -> None:
    with pytest.raises(ValidationError, match=r"Write the hours like 6, 6\.5 or 6:30\."):
        read_hours(odd)


def test_more_than_ten_thousand_hours_are_too_many() -> None:
    for much in ("10000.25", "999999", "600001 min"):
        with pytest.raises(ValidationError, match=r"more than 10,000 hours"):
            read_hours(much)


@given(st.integers(0, 40_000))
def test_a_length_is_read_as_it_was_written(quarters: int) -> None:
    assert read_hours(written_hours(quarters * 15)) == quarters * 15


@pytest.mark.parametrize(
    ("minutes", "told"),
    [
        (0, "no hours"),
        (15, "¼ hour"),
        (30, "½ hour"),
        (60, "1 hour"),
        (75, "1¼ hours"),
        (390, "6½ hours"),
        (2880, "48 hours"),
        (50, "1 hour"),
    ],
)
def test_a_length_in_a_sentence(minutes: int, told: str) -> None:
    assert told_hours(minutes) == told


@pytest.mark.parametrize(
    "written",
    [
        "8-12:30, 13-17",
        "08:00–12:30, 13:00–17:00",
        "13–17; 8–12.30",
        "8 to 12:30 and 1pm to 5pm",
        "8h-12h30 13h-17h",
        "0800-1230, 1300-1700",
        "8 am − 12:30 pm + 13 — 17",
        "8 until 12:30,13 till 17",
    ],
)
def test_the_hours_of_a_day_are_read_however_they_are_written(written: str) -> None:
    assert read_spans(written) == WHOLE_DAY
    assert written_spans(read_spans(written)) == "08:00–12:30, 13:00–17:00"


@pytest.mark.parametrize("written", ["", "  ", "shut", "Shut", "closed", "off", "-", "–"])
def test_a_day_without_hours(written: str) -> None:
    assert read_spans(written) == []
    assert written_spans([]) == ""


def test_midnight_begins_a_day_and_ends_it() -> None:
    assert read_spans("18-24") == read_spans("18:00-0:00") == [["18:00", "00:00"]]
    assert written_spans([["18:00", "00:00"]]) == "18:00–24:00"
    assert read_spans("0-24") == [["00:00", "00:00"]]
    assert read_spans("12am-8am") == [["00:00", "08:00"]]


@pytest.mark.parametrize(
    ("written", "sentence"),
    [
        ("17-8", "In 17:00–08:00 write the earlier hour first."),
        ("8-8", "write the earlier hour first"),
        ("8-12, 11-13", "08:00–12:00 and 11:00–13:00 overlap. Write each hour once."),
        ("8-12, 8-12", "overlap"),
        ("8:10-12", "The plan goes by quarter hours: 08:00 or 08:15, not 08:10."),
        ("8-25", "There is no 25:00."),
        ("8-12:60", "There is no 12:60."),
        ("24:15-25", "There is no 24:15."),
        ("13pm-14", "There is no 13:00pm."),
        ("8", "Write the hours like 08:00–12:30, 13:00–17:00."),
        ("8-12-13", "Write the hours like"),
        ("8,30-17", "Write the hours like"),
        ("8-12 or so", "Write the hours like"),
        ("8-12:300", "Write the hours like"),
        ("early", "Write the hours like"),
    ],
)
def test_hours_that_cannot_be_get_a_sentence_that_says_how(written: str, sentence: str) -> None:
    with pytest.raises(ValidationError) as refused:
        read_spans(written)
    assert sentence in refused.value.messages[0]


@given(st.lists(st.integers(0, 96), unique=True, max_size=12))
def test_a_day_is_read_as_it_was_written(quarters: list[int]) -> None:
    marks = [f"{at // 4 % 24:02}:{at % 4 * 15:02}" for at in sorted(quarters)]
    spans = [list(pair) for pair in zip(marks[::2], marks[1::2], strict=False)]
    assert read_spans(written_spans(spans)) == spans


def test_how_long_a_week_is() -> None:
    assert told_week([WHOLE_DAY] * 5 + [[], []]) == "42½ hours a week"  # 5 × (4½ + 4)
    assert told_week([[["18:00", "00:00"]]] + [[]] * 6) == "6 hours a week"
    assert told_week([[["00:00", "00:00"]]] * 7) == "168 hours a week"


def test_fields_hold_what_was_typed_and_show_what_is_kept() -> None:
    assert HoursField().clean("") == 0
    assert HoursField(empty=None).clean(" ") is None
    assert HoursField(empty=None).clean("0") == 0
    assert HoursField().prepare_value(390) == "6.5"
    assert HoursField().prepare_value("six") == "six"
    with pytest.raises(ValidationError):
        HoursField(required=True, empty=None).clean("")
    assert SpansField(required=False).clean(None) == []
    assert SpansField().prepare_value(WHOLE_DAY) == "08:00–12:30, 13:00–17:00"
    assert SpansField().prepare_value("early") == "early"


def test_a_time_of_day() -> None:
    assert ClockField().clean("5pm") == time(17)
    assert ClockField(required=False).clean("") is None
    for odd, sentence in (
        ("24", "23:45"),
        ("noon", "Write the hour like"),
        ("17:05", "17:00 or 17:15"),
        ("", "required"),
    ):
        with pytest.raises(ValidationError, match=sentence):
            ClockField().clean(odd)
