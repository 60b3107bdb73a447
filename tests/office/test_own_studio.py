"""Leaving the demo: who finds the page, what it asks, and what stands there afterwards."""

import re
from datetime import timedelta
from typing import Any
from zoneinfo import available_timezones

import pytest
from django.conf import settings
from django.test import Client as Browser

from studio.front.signin import openers
from studio.office.own_form import OFTEN, zone_choices
from studio.workshop import actions, invitations, links
from studio.workshop.models import Job, Link, Person, Studio
from tests import builders, doors
from tests.conftest import NOW
from tests.office.rows import text

ADDRESS = "/office/own-studio/"
LINK = f'<a href="{ADDRESS}">Start with our own studio</a>'
PASSWORD = "a lump of wet plaster"
TYPED = {
    "name": "Tallow Lane Works",
    "time_zone": "America/St_Johns",
    "hours": "9-13, 14-18",
    "days": ["Monday", "Tuesday", "Saturday"],
    "lead": "Oda",
    "email": "Oda@TallowLane.example",
    "password": PASSWORD,
    "again": PASSWORD,
}


@pytest.fixture
def demo(office: Browser) -> Browser:
    """A lead of the demo, signed in."""
    doors.things()
    Studio.objects.update(name="Bodkin Yard", demo=True)
    return office


def errors(response: Any) -> dict[str, str]:
    """What stands beside each field."""
    found = re.findall(r'id="ownstudioform-(\w+)_error">(.*?)<', response.content.decode())
    return {name: words.replace("&#x27;", "'") for name, words in found}


def test_a_lead_of_the_demo_finds_the_way_out_of_it(demo: Browser) -> None:
    for address in ("/office/", "/office/jobs/", "/office/letters/"):
        page = demo.get(address).content.decode()
        assert LINK in page.partition("<header")[0], address
    assert LINK in demo.get("/office/settings/").content.decode().partition("<main")[2]
    Studio.objects.update(demo=False)
    for address in ("/office/", "/office/settings/"):
        assert ADDRESS not in demo.get(address).content.decode()


def test_nobody_else_does(demo: Browser, ada: Person, kit: Person) -> None:
    for person in (ada, kit):
        browser = Browser()
        browser.force_login(person)
        assert ADDRESS not in browser.get("/bench/").content.decode()
        for answer in (browser.get(ADDRESS), browser.post(ADDRESS, TYPED)):
            assert answer.status_code == 403
    for answer in (Browser().get(ADDRESS), Browser().post(ADDRESS, TYPED)):
        assert answer.headers["Location"].startswith("/sign-in/")
    assert Studio.objects.get().demo


def test_where_there_is_no_demo_there_is_nothing(office: Browser) -> None:
    for answer in (office.get(ADDRESS), office.post(ADDRESS, TYPED)):
        assert answer.status_code == 404
    assert Person.objects.count() == 1


def test_the_page_says_what_goes_before_anything_does(demo: Browser) -> None:
    page = text(demo.get(ADDRESS))
    assert "All that is in the demo goes: its jobs, photos, letters and people." in page
    assert "None of it can be called back; it was all invented." in page
    assert Job.objects.exists()


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
def test_the_whole_way(demo: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STUDIO_OPENER_NONCE", "this run")
    old = [address.removeprefix("http://yard.example") for address in openers("http://yard.example").values()]
    old += [links.path_for(link) for link in Link.objects.all()]
    old += [invitations.path_for(actions.invite(builders.person("Bo"), by=None, now=NOW))]
    assert len(set(old)) >= 4
    others = Browser()
    others.force_login(builders.person("Ada"))

    answer = demo.post(ADDRESS, TYPED)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/office/")
    page = text(demo.get("/office/"))
    assert "Tallow Lane Works begins here. The demo is gone." in page
    assert "What to do first" in page
    assert "This is the demo" not in page
    oda, studio = Person.objects.get(), Studio.objects.get()
    assert (oda.name, oda.email, oda.is_lead) == ("Oda", "oda@tallowlane.example", True)
    day = [["09:00", "13:00"], ["14:00", "18:00"]]
    assert studio.hours == [day, day, [], [], [], day, []]
    assert (studio.time_zone, studio.demo) == ("America/St_Johns", False)
    assert (demo.get(ADDRESS).status_code, demo.post(ADDRESS, TYPED).status_code) == (404, 404)

    assert others.get("/bench/").headers["Location"].startswith("/sign-in/")
    for address in old:
        closed = others.get(address)
        assert closed.status_code == 404, address
        assert b"Talking watering can" not in closed.content
    assert openers("http://yard.example") == {"lead": "", "maker": "", "client": ""}
    signed_in = Browser().post("/sign-in/", {"email": oda.email, "password": PASSWORD})
    assert signed_in.headers["Location"] == "/office/"


@pytest.mark.parametrize(
    ("wrong", "field", "sentence"),
    [
        ({"name": " "}, "name", "This cannot stay empty. Write it in."),
        ({"name": "x" * 81}, "name", "Say it in at most 80 letters; it has 81."),
        ({"time_zone": "Europe/Nowhere"}, "time_zone", "That is not there any more. Choose one of those that are here."),
        ({"hours": ""}, "hours", "This cannot stay empty. Write it in."),
        ({"hours": "whenever"}, "hours", "Write the hours like 08:00–12:30, 13:00–17:00."),
        ({"hours": "shut"}, "hours", "This cannot stay empty. Write it in."),
        ({"days": []}, "days", "Tick at least one day, or nothing can be planned."),
        ({"days": ["Someday"]}, "days", "That is not there any more."),
        ({"lead": ""}, "lead", "This cannot stay empty. Write it in."),
        ({"email": "oda"}, "email", "Write the whole address, such as name@yard.example."),
        ({"password": "short", "again": "short"}, "password", "It is too short. Write at least ten characters."),
        ({"password": "password123", "again": "password123"}, "password", "Too many people use that one."),
        ({"password": "oda@tallowlane", "again": "oda@tallowlane"}, "password", "It is too much like your name or address."),
        ({"again": "a lump of dry plaster"}, "again", "The two are not the same. Write both again."),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_beside_it_and_what_was_typed_stays(
    demo: Browser, wrong: dict[str, Any], field: str, sentence: str
) -> None:
    answer = demo.post(ADDRESS, TYPED | wrong)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "<title>Error: " in page
    assert errors(answer)[field].startswith(sentence)
    assert set(errors(answer)) == {field}
    for name in {"name", "lead", "email"} - wrong.keys():
        assert f'value="{TYPED[name]}"' in page
    if field not in ("time_zone", "days"):
        assert '<option value="America/St_Johns" selected>' in page
        assert re.findall(r'value="(\w+day)"[^>]*checked', page) == TYPED["days"]
    assert PASSWORD not in page
    assert Studio.objects.get().demo
    assert Job.objects.exists()


def test_the_second_at_the_same_moment_reads_why_not(demo: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    begin = actions.start_own_studio

    def late(**told: Any) -> Person:
        begin(**told | {"lead": "Ivo", "email": "ivo@tallowlane.example"})  # by somebody else, a moment before
        return begin(**told)

    monkeypatch.setattr(actions, "start_own_studio", late)
    answer = demo.post(ADDRESS, TYPED)
    assert answer.status_code == 422
    assert "Somebody has begun a studio of their own here" in text(answer)
    assert f'value="{TYPED["name"]}"' in answer.content.decode()
    assert Person.objects.get().name == "Ivo"
    assert demo.get("/office/").headers["Location"].startswith("/sign-in/")


def test_the_zones_begin_with_those_that_are_often_wanted() -> None:
    (first, often), *parts = zone_choices("Asia/Kathmandu")
    assert first == "Often wanted"
    assert [zone for zone, _ in often][:2] == ["Asia/Kathmandu", "Europe/London"]
    assert set(OFTEN) <= available_timezones()
    every = [zone for _, zones in parts for zone, _ in zones]
    assert ("America/Argentina/Buenos_Aires", "America/Argentina/Buenos Aires") in dict(parts)["America"]
    assert len(every) == len(set(every)) > 400
    assert {"Europe/London", "Asia/Kathmandu"} <= set(every)


def test_the_form_begins_with_the_zone_and_hours_that_stand(demo: Browser) -> None:
    Studio.objects.update(time_zone="UTC")  # one that no list has
    page = demo.get(ADDRESS).content.decode()
    assert '<option value="UTC" selected>UTC</option>' in page
    assert 'value="08:00–12:30, 13:00–17:00"' in page
    assert demo.post(ADDRESS, TYPED | {"time_zone": "UTC"}).status_code == 302


def test_who_leads_the_new_studio_is_not_signed_in_for_less_long(demo: Browser) -> None:
    """The session is a new one: what a cookie of the demo held opens nothing."""
    before = demo.cookies[settings.SESSION_COOKIE_NAME].value
    demo.post(ADDRESS, TYPED)
    after = demo.cookies[settings.SESSION_COOKIE_NAME]
    assert after.value != before
    assert int(after["max-age"]) == timedelta(days=30).total_seconds()
    thief = Browser()
    thief.cookies[settings.SESSION_COOKIE_NAME] = before
    assert thief.get("/office/").headers["Location"].startswith("/sign-in/")
