"""The rule on a client's page: from the day it was begun to its van, laid out in hundredths of the rule's length."""

from dataclasses import dataclass
from datetime import date, timedelta

BEYOND = 3  # days of rule past the van
LABELS = 8  # at most; every other one is left out on a phone
LAST_LABEL = 86  # per cent: beyond it a label would leave the rule
WIDE, NARROW = 8, 22  # per cent of the rule that a label takes, on a desk and on a phone
DAYS_APART = 120  # a longer rule has marks for weeks only


@dataclass(frozen=True)
class Week:
    """The mark of a Monday. ``label`` is its day where there is room for it, on a phone too if ``short``."""

    at: str
    label: date | None
    short: bool


@dataclass(frozen=True)
class Strip:
    """Places are per cent as SVG writes them ("12.5%")."""

    begun: date
    today: date
    van: date
    today_at: str
    van_at: str
    day_long: str  # empty where a mark for each day would be a smear
    weeks: tuple[Week, ...]
    early: bool  # today's mark stands so near the start that its word goes to its right


def strip(begun: date, today: date, van: date) -> Strip:
    """``begun`` <= ``today`` <= ``van``."""
    days = (van - begun).days + BEYOND

    def at(day: date) -> float:
        return 100 * (day - begun).days / days

    mondays = [begun + timedelta(number) for number in range(days) if (begun + timedelta(number)).weekday() == 0]
    mark = at(today)

    def clear(monday: date, room: int) -> bool:
        """Whether today's mark does not strike through the label."""
        return not 0 < mark - at(monday) < room

    step = -(-len(mondays) // LABELS) or 1
    return Strip(
        begun=begun,
        today=today,
        van=van,
        today_at=_per_cent(mark),
        van_at=_per_cent(at(van)),
        day_long=_per_cent(100 / days) if days <= DAYS_APART else "",
        weeks=tuple(
            Week(
                at=_per_cent(at(monday)),
                label=monday if number % step == 0 and at(monday) < LAST_LABEL and clear(monday, WIDE) else None,
                short=number % (2 * step) == 0 and clear(monday, NARROW),
            )
            for number, monday in enumerate(mondays)
        ),
        early=mark < 20,
    )


def _per_cent(value: float) -> str:
    return f"{value:.2f}%"
