"""How the office says days."""

from datetime import date

import pytest

from studio.office.wording import short_day
from tests.conftest import NOW


@pytest.mark.parametrize(
    ("day", "said"),
    [
        (NOW.date(), "Tue 10 Mar"),
        (date(2027, 1, 4), "Mon 4 Jan"),  # 300 days on
        (date(2027, 1, 5), "Tue 5 Jan 2027"),
        (date(2027, 3, 10), "Wed 10 Mar 2027"),
        (date(2025, 3, 10), "Mon 10 Mar 2025"),
    ],
)
def test_a_day_says_its_year_where_another_might_be_meant(day: date, said: str) -> None:
    assert short_day(day, NOW.date()) == said
