"""The rule from the first day to the van, on a client's page."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clientportal.strip import LABELS, strip
from studio.workshop.models import Job, Link
from tests import builders
from tests.clientportal.looking import look
from tests.conftest import NOW

TODAY = NOW.date()
DAYS = st.integers(0, 700)


def number(per_cent: str) -> float:
    assert per_cent.endswith("%")
    return float(per_cent[:-1])


def test_places_are_hundredths_of_the_rule() -> None:
    """Ten days and three beyond: 1 March 2026 is a Sunday, so Mondays are one and eight days on."""
    told = strip(date(2026, 3, 1), date(2026, 3, 6), date(2026, 3, 11))
    assert (told.today_at, told.van_at, told.day_long) == ("38.46%", "76.92%", "7.69%")  # 5, 10 and 1 of 13
    assert [(week.at, week.label) for week in told.weeks] == [
        ("7.69%", date(2026, 3, 2)),
        ("61.54%", date(2026, 3, 9)),
    ]


@given(DAYS, DAYS)
def test_all_of_it_is_on_the_rule_and_in_order(so_far: int, to_go: int) -> None:
    told = strip(TODAY - timedelta(so_far), TODAY, TODAY + timedelta(to_go))
    assert 0 <= number(told.today_at) <= number(told.van_at) < 100
    places = [number(week.at) for week in told.weeks]
    assert places == sorted(places)
    assert all(0 <= place < 100 for place in places)
    assert len([week for week in told.weeks if week.label]) <= LABELS
    assert all(week.label is None or week.label.weekday() == 0 for week in told.weeks)


def test_todays_mark_strikes_through_no_label() -> None:
    """Thirty-three days of rule: the Monday before today is 4/33 = 12 % to its left."""
    told = strip(date(2026, 3, 2), date(2026, 3, 20), date(2026, 4, 1))
    third = told.weeks[2]
    assert (third.label, third.short) == (date(2026, 3, 16), False)
    told = strip(date(2026, 3, 2), date(2026, 3, 17), date(2026, 4, 1))
    assert told.weeks[2].label is None


def van(job: Job, day: date | None) -> None:
    Job.objects.filter(pk=job.pk).update(van_day=day)


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
class TestOnThePage:
    def test_it_goes_from_the_first_entry_to_the_confirmed_van(self, can: Job, priya: Link) -> None:
        builders.log_done(builders.stage(can), now=NOW - timedelta(days=15))
        van(can, TODAY + timedelta(9))
        builders.confirm(can, words="It is on time.")
        page = look(priya)
        assert (
            "A rule from Monday 23 February to the van on Thursday 19 March. Today is Tuesday 10 March." in page
        )  # counted on a calendar
        assert ">van, Thu 19 Mar<" in page

    def test_a_new_day_is_told_once_the_lead_says_so(self, can: Job, priya: Link) -> None:
        van(can, TODAY + timedelta(9))
        builders.confirm(can, words="It is on time.")
        van(can, TODAY + timedelta(16))
        assert "van, Thu 19 Mar" in look(priya)
        builders.confirm(can, words="It will be a week later.")
        page = look(priya)
        assert "van, Thu 26 Mar" in page
        assert "19 Mar" not in page

    def test_no_rule_without_words_without_a_van_or_once_that_day_is_over(self, can: Job, priya: Link) -> None:
        van(can, TODAY)
        assert "<svg" not in look(priya)
        builders.confirm(can, words="It is on time.")
        assert "<svg" in look(priya)
        assert "<svg" not in look(priya, NOW + timedelta(days=1))
        van(can, None)
        builders.confirm(can, words="We say more soon.")
        assert "<svg" not in look(priya)

    def test_none_on_a_closed_job(self, can: Job, priya: Link) -> None:
        van(can, TODAY + timedelta(9))
        builders.confirm(can, words="It is on time.")
        Job.objects.filter(pk=can.pk).update(closed_on=TODAY)
        assert "<svg" not in look(priya)
