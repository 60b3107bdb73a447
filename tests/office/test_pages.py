"""Each page opens with nothing, one and several, and asks the record the same number of questions however much there is."""

import re
from datetime import date
from html import unescape
from urllib.parse import quote
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import (
    Client,
    Contact,
    Entry,
    Job,
    Letter,
    Link,
    Notice,
    Person,
    Piece,
    Release,
    Stage,
    StageKind,
)
from tests import builders
from tests.conftest import NOW
from tests.office.rows import look, run_due, text

LISTS = [
    "/office/",
    "/office/waiting/",
    "/office/photos/",
    "/office/jobs/",
    "/office/clients/",
    "/office/letters/",
    "/office/people/",
]


def every_page() -> list[str]:
    """The addresses of all rows there are."""
    found = [*LISTS, "/office/settings/", "/office/kinds/", "/office/kinds/new/", "/office/people/new/"]
    found += ["/office/jobs/new/", "/office/clients/new/"]
    for job in Job.objects.all():
        found += [f"/office/jobs/{job.pk}/{end}" for end in ("", "change/", "words/", "pieces/new/")]
        found += [f"/office/jobs/{job.pk}/{end}" for end in ("contacts/new/", "photos/", "history/")]
    found += [f"/office/pieces/{row.pk}/{end}" for row in Piece.objects.all() for end in ("", "stages/new/")]
    found += [f"/office/pieces/{row.pk}/remove/" for row in Piece.objects.all()]
    found += [f"/office/stages/{row.pk}/{end}" for row in Stage.objects.all() for end in ("", "remove/")]
    found += [f"/office/entries/{row.pk}/" for row in Entry.objects.all()]
    found += [f"/office/links/{row.pk}/revoke/" for row in Link.objects.all()]
    found += [f"/office/clients/{row.pk}/{end}" for row in Client.objects.all() for end in ("", "contacts/new/")]
    found += [f"/office/contacts/{row.pk}/{end}" for row in Contact.objects.all() for end in ("", "remove/")]
    found += [f"/office/kinds/{row.pk}/" for row in StageKind.objects.all()]
    found += [f"/office/letters/{row.pk}/{end}" for row in Letter.objects.all() for end in ("", "html/")]
    found += [
        f"/office/notices/{row.pk}/{end}" for row in Notice.objects.exclude(state="told") for end in ("", "html/")
    ]
    return found


def assert_all_open(office: Browser) -> None:
    answers = {address: office.get(address) for address in every_page()}
    assert {address: answer.status_code for address, answer in answers.items() if answer.status_code != 200} == {}
    for address, answer in answers.items():
        if not address.endswith("/html/"):
            assert answer.content.decode().count("<h1") == 1, address
            assert "style=" not in answer.content.decode(), address


def test_an_empty_studio(office: Browser) -> None:
    assert_all_open(office)
    assert "Nothing waits for you." in text(office.get("/office/waiting/"))
    assert "Nothing on the bench." in text(office.get("/office/"))


def test_one_job_with_everything(office: Browser) -> None:
    look()
    assert_all_open(office)


def test_several_jobs_in_several_states(office: Browser) -> None:
    look()
    look("Ammonite, 2.1 m")
    straight = builders.job("Pretzel, 1.4 m", client="Kneading Lane Bakery")
    builders.link(straight)
    builders.log_done(builders.stage(straight))
    run_due()
    builders.log_done(builders.stage(straight, "mould"), photo=False)
    run_due(NOW.replace(hour=11))
    assert_all_open(office)


@pytest.mark.parametrize("address", LISTS)
def test_a_list_asks_as_much_for_fifty_as_for_one(address: str, office: Browser) -> None:
    def add(number: int) -> None:
        look(f"Snail {number}")
        straight = builders.job(f"Boot {number}", client=f"School {number}")
        builders.link(straight)
        builders.log_done(builders.stage(straight), photo=False)
        actions.say_nothing(
            builders.log_done(builders.stage(straight, "mould"), photo=False), by=builders.lead(), now=NOW
        )

    def questions() -> int:
        office.get(address)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert office.get(address).status_code == 200
        return len(asked)

    add(0)
    run_due(NOW.replace(hour=11))
    at_one = questions()
    for number in range(1, 50):
        add(number)
    run_due(NOW.replace(hour=11))
    assert questions() == at_one


def test_a_job_asks_as_much_for_fifty_stages_as_for_one(office: Browser) -> None:
    job = builders.job(stages=["carving"])
    builders.link(job)
    builders.log_done(builders.stage(job))
    run_due(NOW.replace(hour=11))

    def questions(end: str) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert office.get(f"/office/jobs/{job.pk}/{end}").status_code == 200
        return len(asked)

    ends = ("", "photos/", "history/")
    at_one = [questions(end) for end in ends]
    for number in range(50):
        name = f"Snail {number}"
        piece = actions.add_piece(job, name=name, by=builders.lead(), now=NOW)
        kind = StageKind.objects.get(name="lay-up")
        stage = actions.add_stage(piece, kind=kind, by=builders.lead(), now=NOW)
        builders.log_done(Stage.objects.told().get(pk=stage.pk))
        builders.contact(job, f"Contact{number}")
    run_due(NOW.replace(hour=11))
    # The history names fewer kinds of things at the end, so it may ask less, never more.
    assert all(later <= first for later, first in zip([questions(end) for end in ends], at_one, strict=True))


def test_jobs_stand_by_the_week_of_their_van(office: Browser) -> None:
    ines = builders.lead()
    for name, van in (
        ("Can", date(2026, 3, 11)),
        ("Boot", date(2026, 3, 20)),
        ("Arch", date(2026, 3, 3)),
        ("Crab", None),
    ):
        client = actions.add_client(name="Saltmarsh Aquarium", by=ines, now=NOW)
        actions.add_job(client=client, name=name, release=Release.LOOKED, van_day=van, by=ines, now=NOW)
    said = text(office.get("/office/jobs/"))
    order = ["Week of Mon 2 Mar, gone by", "Arch", "This week, Mon 9 Mar", "Can", "Week of Mon 16 Mar", "Boot"]
    places = [said.index(words) for words in [*order, "No van day yet", "Crab"]]
    assert places == sorted(places)


def test_closed_jobs_stand_apart_and_page_by_key(office: Browser) -> None:
    ines = builders.lead()
    client = actions.add_client(name="Hillfoot School", by=ines, now=NOW)
    for number in range(51):
        job = actions.add_job(client=client, name=f"Old boot {number:02}", by=ines, now=NOW)
        Job.objects.filter(pk=job.pk).update(closed_on=date(2026, 1, 1))
    first = office.get("/office/jobs/")
    assert "No jobs are going on." in text(first)
    assert "Old boot 50" in text(first)
    assert "Old boot 00" not in text(first)
    (further,) = [part.split('"')[0] for part in first.content.decode().split('href="?')[1:]]
    second = text(office.get(f"/office/jobs/?{further}"))
    assert "Old boot 00" in second
    assert "Old boot 01" not in second
    assert office.get("/office/jobs/?after=nonsense~").status_code == 200


# The first and the last hours of the calendar lie outside it in UTC; the others are no keys at all.
NO_KEYS = [
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-12:00",
    "2026-03-10T10:42:00",
    "2026-03-10",
    "10:42",
    "",
    "\0",
    "9" * 30,
]


@pytest.mark.parametrize("value", NO_KEYS)
@pytest.mark.parametrize("key", [str(uuid4()), "1", "-1", "9" * 30, "x", "\0", ""])
def test_a_key_that_means_nothing_breaks_no_list(value: str, key: str, office: Browser) -> None:
    job = builders.job()
    after = quote(f"{value}~{key}")
    for address in (*LISTS[1:], f"/office/jobs/{job.pk}/history/", f"/office/jobs/{job.pk}/photos/"):
        assert office.get(f"{address}?after={after}").status_code == 200
    assert office.get(f"/office/clients/{job.client_id}/?after={after}").status_code == 200


def test_an_hour_outside_the_calendar_gives_the_first_page(office: Browser) -> None:
    look()
    run_due(NOW.replace(hour=11))
    plain, odd = office.get("/office/photos/"), office.get(f"/office/photos/?after={quote(NO_KEYS[0])}~{uuid4()}")
    assert text(odd) == text(plain)


@pytest.mark.parametrize("which", ["clients", "people", "jobs"])
def test_what_grows_with_the_years_pages_by_fifty(which: str, office: Browser, ines: Person) -> None:
    client = actions.add_client(name="Snail ~ 000", by=ines, now=NOW)
    for number in range(1, 120):
        name = f"Snail ~ {number:03}"
        match which:
            case "clients":
                actions.add_client(name=name, by=ines, now=NOW)
            case "people":
                builders.person(f"Snail~{number:03}")
            case "jobs":
                actions.add_job(client=client, name=name, by=ines, now=NOW)
    first = address = {"jobs": f"/office/clients/{client.pk}/"}.get(which, f"/office/{which}/")
    seen: list[str] = []
    sizes: list[int] = []
    while address:
        html = office.get(address).content.decode()
        found = re.findall(r"<b>(Snail ?~ ?\d{3})", html)
        seen, sizes = seen + found, [*sizes, len(found)]
        further = re.search(r'href="(\?after=[^"]+)"', html)
        address = first + unescape(further[1]) if further else ""
    assert len(seen) == len(set(seen)) == {"clients": 120}.get(which, 119)
    assert max(sizes) == 50
    assert len(sizes) == 3


def test_a_new_job_offers_the_newest_clients_only(office: Browser, ines: Person) -> None:
    for number in range(201):
        actions.add_client(name=f"Bakery {number:03}", by=ines, now=NOW)
    html = office.get("/office/jobs/new/").content.decode()
    assert html.count("<option") == 200
    assert "Bakery 200" in html
    assert "Bakery 000" not in html
