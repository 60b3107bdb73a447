"""How the office says numbers and hours: "three letters", "10:52", "Tue 10 Mar 10:52"."""

from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.dateformat import format as written

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")

_FAR = timedelta(days=300)
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def many(count: int, one: str, more: str = "") -> str:
    """``many(3, "letter")`` is "three letters"; ``more`` where the plural is no "s"."""
    return f"{number(count)} {one if count == 1 else more or one + 's'}"


def sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def listed(words: list[str]) -> str:
    """``one``, ``one and two``, ``one, two and three``."""
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def when(at: datetime, now: datetime) -> str:
    """The clock alone today, else with its day; in the current time zone."""
    local, today = timezone.localtime(at), timezone.localtime(now)
    if local.date() == today.date():
        return written(local, "H:i")
    return written(local, "D j M H:i" if local.year == today.year else "D j M Y H:i")


def on_or_at(at: datetime, now: datetime) -> str:
    """``at 10:52`` today, else ``on Tue 10 Mar 10:52``."""
    told = when(at, now)
    return f"{'on' if ' ' in told else 'at'} {told}"


def short_day(day: date, today: date) -> str:
    """``Fri 4 Dec``, and with its year where another might be meant."""
    year = f" {day.year}" if abs(day - today) > _FAR else ""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}{year}"


def told_days(first: date, last: date, today: date) -> str:
    """``on Fri 4 Dec``, ``from Fri 4 Dec to Mon 7 Dec``"""
    if first == last:
        return f"on {short_day(first, today)}"
    return f"from {short_day(first, today)} to {short_day(last, today)}"


def bare_day(day: date) -> str:
    """``4 Dec``, where there is room for no more."""
    return f"{day.day} {_MONTHS[day.month - 1]}"
