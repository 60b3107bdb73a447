"""Somebody's work: whether the plan gives them any, what they do, their hours, days away and longer days."""

import re
from datetime import date, time

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import Absence, Overtime, Person, StageKind, Studio
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text, title, version
from tests.office.test_days import DAYS, fields, forget_errands, plan_waits


def page_of(somebody: Person) -> str:
    return f"/office/people/{somebody.pk}/days/"


def kinds(*names: str) -> list[int]:
    return [StageKind.objects.get(name=name).pk for name in names]


def test_what_somebody_does_and_when_is_kept(office: Browser, ada: Person) -> None:
    forget_errands()
    page = office.get(page_of(ada))
    html = page.content.decode()
    assert re.search(r'name="in_plan"[^>]*checked', html)
    assert re.search(r'name="shop_hours"[^>]*checked', html)
    assert not re.search(r'name="skills"[^>]*checked', html)
    assert fields(html)["monday"] == "08:00–12:30, 13:00–17:00"  # the shop's, to begin from
    sent = {"in_plan": "on", "skills": kinds("mould", "paint"), "monday": "8-12", "wednesday": "9-17"}
    answer = office.post(page_of(ada), sent | {"version": version(page)}, follow=True)
    assert "Ada's work is kept as you wrote it." in text(answer)
    ada.refresh_from_db()
    assert [kind.name for kind in ada.skills.all()] == ["mould", "paint"]
    assert ada.hours == [[["08:00", "12:00"]], [], [["09:00", "17:00"]], [], [], [], []]
    assert ada.in_plan
    assert fields(answer.content.decode())["wednesday"] == "09:00–17:00"
    assert not re.search(r'name="shop_hours"[^>]*checked', answer.content.decode())
    assert plan_waits()


def test_the_shops_hours_hold_whatever_stands_in_the_lines(office: Browser, ada: Person) -> None:
    sent = {"shop_hours": "on", "monday": "not read", "version": str(ada.version)}
    assert office.post(page_of(ada), sent).status_code == 302
    ada.refresh_from_db()
    assert ada.hours is None
    assert not ada.in_plan


def test_hours_of_their_own_that_cannot_be_get_a_sentence_beside_the_day(office: Browser, ada: Person) -> None:
    sent = {"in_plan": "on", "monday": "17-8", "tuesday": "9-12", "version": str(ada.version)}
    answer = office.post(page_of(ada), sent)
    assert answer.status_code == 422
    assert title(answer).startswith("Error:")
    assert 'id="workform-monday_error"' in answer.content.decode()
    assert fields(answer.content.decode())["monday"] == "17-8"
    ada.refresh_from_db()
    assert ada.hours is None


def test_work_that_somebody_else_has_overtaken_shows_both(office: Browser, ada: Person) -> None:
    old = version(office.get(page_of(ada)))
    tom = Browser()
    tom.force_login(builders.lead("Tom"))
    theirs = {"in_plan": "on", "skills": kinds("carving"), "monday": "8-12", "version": old}
    assert tom.post(page_of(ada), theirs).status_code == 302
    mine = {"skills": kinds("paint"), "shop_hours": "on", "version": old}
    answer = office.post(page_of(ada), mine)
    assert answer.status_code == 409
    said = text(answer)
    assert "The plan gives them work as Tom left it Yes" in said
    assert "as Tom left it carving" in said
    assert "as Tom left it No" in said
    assert "Monday as Tom left it 08:00–12:00" in said
    assert office.post(page_of(ada), mine | {"version": version(answer)}).status_code == 302
    ada.refresh_from_db()
    assert (ada.in_plan, ada.hours) == (False, None)
    mine["version"] = old
    assert "as Ines left it" not in text(office.post(page_of(ada), mine))  # what is the same is not shown twice


def test_days_away_come_and_go_without_a_reason(office: Browser, ada: Person) -> None:
    forget_errands()
    assert "reason" not in text(office.get(page_of(ada))).lower()
    away = f"{page_of(ada)}away/"
    answer = office.post(away, {"first_day": "2026-03-16", "last_day": "2026-03-20"}, follow=True)
    assert "Ada is away from Mon 16 Mar to Fri 20 Mar." in text(answer)
    assert plan_waits()
    answer = office.post(away, {"first_day": "2026-03-24", "last_day": ""}, follow=True)
    assert "Ada is away on Tue 24 Mar." in text(answer)
    assert [(row.first_day.day, row.last_day.day) for row in Absence.objects.filter(person=ada)] == [(16, 20), (24, 24)]
    forget_errands()
    first = Absence.objects.earliest("first_day")
    answer = office.post(f"/office/people/away/{first.pk}/remove/", follow=True)
    assert "Ada is there after all from Mon 16 Mar." in text(answer)
    assert plan_waits()
    assert Absence.objects.count() == 1


def test_longer_days_come_and_go(office: Browser, ada: Person) -> None:
    forget_errands()
    longer = f"{page_of(ada)}longer/"
    answer = office.post(longer, {"first_day": "2026-03-14", "starts": "9", "ends": "1pm"}, follow=True)
    assert "Ada works on Sat 14 Mar, from 09:00 to 13:00 too." in text(answer)
    assert "Sat 14 Mar, 09:00–13:00" in text(answer)
    row = Overtime.objects.get()
    assert (row.person, row.day, row.starts, row.ends) == (ada, date(2026, 3, 14), time(9), time(13))
    assert plan_waits()
    forget_errands()
    answer = office.post(f"/office/people/longer/{row.pk}/remove/", follow=True)
    assert "Ada does not work longer on Sat 14 Mar." in text(answer)
    assert not Overtime.objects.exists()
    assert plan_waits()


@pytest.mark.parametrize(
    ("end", "sent", "sentence"),
    [
        ("away", {"first_day": "2026-03-20", "last_day": "2026-03-16"}, "It ends before it begins."),
        ("away", {"first_day": "", "last_day": "2026-03-16"}, "Write the day like 2026-12-04."),
        ("longer", {"first_day": "2026-03-14", "starts": "13", "ends": "9"}, "It ends before it begins."),
        ("longer", {"first_day": "2026-03-14", "starts": "13:05", "ends": "18"}, "13:00 or 13:15"),
        ("longer", {"first_day": "2026-03-14", "starts": "", "ends": "late"}, "Write the hour like 17:00."),
        ("longer", {"first_day": "", "starts": "17", "ends": "24"}, "Write 23:45 at the latest."),
    ],
)
def test_days_that_cannot_be_get_a_sentence_and_keep_what_was_typed(
    end: str, sent: dict[str, str], sentence: str, office: Browser, ada: Person
) -> None:
    answer = office.post(f"{page_of(ada)}{end}/", sent)
    assert answer.status_code == 422
    assert title(answer).startswith("Error:")
    assert sentence in text(answer)
    assert {name: fields(answer.content.decode())[name] for name in sent} == sent
    assert not Absence.objects.exists()
    assert not Overtime.objects.exists()


def test_what_is_over_leaves_the_page(office: Browser, ada: Person, ines: Person) -> None:
    for first, last in ((2, 9), (5, 10)):
        days = {"first_day": date(2026, 3, first), "last_day": date(2026, 3, last)}
        actions.add_absence(ada, **days, by=ines, now=NOW)
    for day in (9, 10):
        actions.add_overtime(
            ada,
            first_day=date(2026, 3, day),
            last_day=date(2026, 3, day),
            starts=time(17),
            ends=time(19),
            by=ines,
            now=NOW,
        )
    said = text(office.get(page_of(ada)))
    assert "Thu 5 Mar to Tue 10 Mar" in said
    assert "Mon 2 Mar" not in said
    assert "Tue 10 Mar, 17:00–19:00" in said
    assert "Mon 9 Mar, 17:00" not in said


def test_the_page_asks_as_much_for_fifty_days_as_for_one_and_pages(office: Browser, ada: Person, ines: Person) -> None:
    def add(number: int) -> None:
        day = date.fromordinal(date(2026, 4, 1).toordinal() + number)
        actions.add_absence(ada, first_day=day, last_day=day, by=ines, now=NOW)
        actions.add_overtime(ada, first_day=day, last_day=day, starts=time(17), ends=time(19), by=ines, now=NOW)

    def questions() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert office.get(page_of(ada)).status_code == 200
        return len(asked)

    add(0)
    questions()
    at_one = questions()
    for number in range(1, 55):
        add(number)
    assert questions() == at_one
    html = office.get(page_of(ada)).content.decode()
    assert html.count("There after all") == 50
    for key, button in (("away", "There after all"), ("longer", "Take these hours away")):
        (further,) = re.findall(rf'href="(\?{key}=[^"]+)"', html)
        assert office.get(page_of(ada) + further).content.decode().count(button) == 5


def test_it_is_reached_from_the_person_and_from_the_list(office: Browser, ada: Person) -> None:
    for page in (f"/office/people/{ada.pk}/", "/office/people/"):
        assert f'href="{page_of(ada)}"' in office.get(page).content.decode()


def test_every_kind_of_work_can_be_ticked_and_the_week_is_the_shops(office: Browser, ada: Person, ines: Person) -> None:
    studio = Studio.objects.get()
    actions.change_hours(hours=[[["10:00", "16:00"]]] * 7, version=studio.version, by=ines, now=NOW)
    html = office.get(page_of(ada)).content.decode()
    assert html.count('name="skills"') == StageKind.objects.count()
    assert {fields(html)[day] for day in DAYS} == {"10:00–16:00"}


def test_longer_days_of_two_weeks_are_those_that_are_worked(office: Browser, ada: Person) -> None:
    sent = {"first_day": "2026-03-10", "last_day": "2026-03-23", "starts": "17", "ends": "19"}
    answer = office.post(f"{page_of(ada)}longer/", sent, follow=True)
    assert "Ada works from Tue 10 Mar to Mon 23 Mar, from 17:00 to 19:00 too." in text(answer)
    days = list(ada.overtime.values_list("day", flat=True))
    assert len(days) == 10
    assert {day.weekday() for day in days} == {0, 1, 2, 3, 4}
    weekend = sent | {"first_day": "2026-03-14", "last_day": "2026-03-15"}
    answer = office.post(f"{page_of(ada)}longer/", weekend)
    assert answer.status_code == 422
    assert "Ada works on none of these days." in text(answer)
