"""Hours as people write them: "8-12:30, 13-17" on a day, and "6.5" or "6 h 30" for a piece of work."""

import re
from datetime import time
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.craft.methods import MOST_MIN
from studio.craft.workdays import SLOT_MIN

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_A_DAY = 24 * 60

_LONG = re.compile(
    r"(?P<hours>\d{1,6})(?:[.,](?P<part>\d\d?))?\s*(?:h|hrs?|hours?)?"
    r"|(?P<whole>\d{1,6})\s*(?::|h|hrs?|hours?)\s*(?P<minutes>[0-5]\d)\s*(?:m|min|minutes)?"
    r"|(?P<only>\d{1,6})\s*(?:m|min|minutes)"
)
_PARTS = {"¼": ".25", "½": ".5", "¾": ".75"}

_CLOCK = r"(\d\d?)(?:\s*[:.h]\s*(\d\d)|(\d\d)|\s*h)?\s*(am|pm)?"
_ONE = re.compile(_CLOCK)
_SPAN = re.compile(rf"{_CLOCK}\s*-\s*{_CLOCK}(?![\d:.])")
_TO = re.compile(r"[\u2010-\u2015\u2212]|\b(?:to|until|till)\b")
_BETWEEN = re.compile(r"[\s,;+&]|\band\b")
_SHUT = {"", "-", "shut", "closed", "off", "none"}
_HOW = "Write the hours like 08:00–12:30, 13:00–17:00. Leave it empty where there are none."


def read_hours(text: str) -> int:
    """Minutes of work, in quarter hours rounded up. Raises ValidationError with a sentence that says how to write it."""
    plain = text.strip().lower()
    for sign, part in _PARTS.items():
        plain = plain.replace(sign, part)
    found = _LONG.fullmatch(f"0{plain}" if plain.startswith(".") else plain)
    if not found:
        raise ValidationError("Write the hours like 6, 6.5 or 6:30.")
    part = found["part"] or "0"
    exact = Fraction(int(part), 10 ** len(part)) * 60
    exact += int(found["hours"] or found["whole"] or 0) * 60 + int(found["minutes"] or found["only"] or 0)
    minutes = ceil(exact / SLOT_MIN) * SLOT_MIN
    if minutes > MOST_MIN:
        raise ValidationError("That is more than 10,000 hours. Write fewer.")
    return minutes


def written_hours(minutes: int) -> str:
    """As it stands in a field: "6", "6.5", "6.25"."""
    return f"{minutes / 60:.2f}".rstrip("0").rstrip(".")


def told_hours(minutes: int) -> str:
    """As it stands in a sentence: "½ hour", "1 hour", "6½ hours"; quarter hours, rounded up."""
    whole, quarters = divmod(-(-minutes // SLOT_MIN), 4)
    told = f"{whole or ''}{('', *_PARTS)[quarters]}"
    return f"{told or 'no'} hour{'s' if not told or (whole, quarters) > (1, 0) else ''}"


def read_clock(text: str) -> int:
    """Minutes since midnight, up to 24:00, on the quarter hour. Raises ValidationError."""
    found = _ONE.fullmatch(text.strip().lower())
    if not found:
        raise ValidationError("Write the hour like 17:00.")
    return _minutes(*found.groups())


def read_spans(text: str) -> list[list[str]]:
    """A day's hours as the record keeps them, in order; midnight at the end of the day is 00:00. Raises ValidationError."""
    plain = _TO.sub("-", text.strip().lower())
    if plain in _SHUT:
        return []
    if _BETWEEN.sub("", _SPAN.sub("", plain)):
        raise ValidationError(_HOW)
    spans = sorted(
        (_minutes(*found.groups()[:4]), _minutes(*found.groups()[4:], end=True)) for found in _SPAN.finditer(plain)
    )
    for begins, ends in spans:
        if ends <= begins:
            raise ValidationError(
                f"In {_told(begins, ends)} write the earlier hour first. Hours after midnight go on the next day."
            )
    for one, other in pairwise(spans):
        if other[0] < one[1]:
            raise ValidationError(f"{_told(*one)} and {_told(*other)} overlap. Write each hour once.")
    return [[_clock(begins), _clock(ends % _A_DAY)] for begins, ends in spans]


def written_spans(spans: list[list[str]]) -> str:
    """ "08:00–12:30, 13:00–17:00", and "" for a day without hours."""
    return ", ".join(f"{begins}–{'24:00' if ends == '00:00' else ends}" for begins, ends in spans)


def _minutes(hours: str, minutes: str | None, joined: str | None, half: str | None, *, end: bool = False) -> int:
    hour, minute = int(hours), int(minutes or joined or 0)
    written = f"{hours}:{minute:02}{half or ''}"
    if half:
        if not 1 <= hour <= 12:
            raise ValidationError(f"There is no {written}. Write it like 8:00 or 17:00.")
        hour = hour % 12 + 12 * (half == "pm")
    at = hour * 60 + minute
    if minute > 59 or at > _A_DAY:
        raise ValidationError(f"There is no {written}. A day has the hours from 00:00 to 24:00.")
    if at % SLOT_MIN:
        before = at - at % SLOT_MIN
        raise ValidationError(
            f"The plan goes by quarter hours: {_clock(before)} or {_clock(before + SLOT_MIN)}, not {_clock(at)}."
        )
    return at or _A_DAY if end else at


def _clock(at: int) -> str:
    return f"{at // 60:02}:{at % 60:02}"


def _told(begins: int, ends: int) -> str:
    return f"{_clock(begins)}–{_clock(ends)}"


class HoursField(forms.Field):
    """A length of time, asked for in hours and kept in minutes. An empty one is ``empty``."""

    widget = forms.TextInput({"autocomplete": "off", "size": 8})

    def __init__(self, *, empty: int | None = 0, required: bool = False, **options: Any) -> None:
        super().__init__(required=required, **options)
        self.empty = empty

    def to_python(self, value: Any) -> int | None:
        return read_hours(value) if value and value.strip() else self.empty

    def prepare_value(self, value: Any) -> Any:
        return written_hours(value) if isinstance(value, int) else value


class SpansField(forms.Field):
    """The hours of one day; none where it stays empty."""

    widget = forms.TextInput({"autocomplete": "off"})

    def to_python(self, value: Any) -> list[list[str]]:
        return read_spans(value or "")

    def prepare_value(self, value: Any) -> Any:
        return written_spans(value) if isinstance(value, list) else value


class ClockField(forms.Field):
    """A time of day, on the quarter hour, before midnight."""

    widget = forms.TextInput({"autocomplete": "off", "size": 8})

    def to_python(self, value: Any) -> time | None:
        if not (value and value.strip()):
            return None
        hour, minute = divmod(read_clock(value), 60)
        if hour == 24:
            raise ValidationError("Write 23:45 at the latest.")
        return time(hour, minute)

    def prepare_value(self, value: Any) -> Any:
        return f"{value:%H:%M}" if isinstance(value, time) else value


def told_week(week: list[list[list[str]]]) -> str:
    """How long a week is, for a sentence: "42½ hours a week"."""
    spans = [(read_clock(begins), read_clock(ends) or _A_DAY) for day in week for begins, ends in day]
    return f"{told_hours(sum(ends - begins for begins, ends in spans))} a week"
