"""That a client's page was opened is noted by its day, after the answer, and whatever happens to the note stays here."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.db import DatabaseError, connections
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from studio import doorbell
from studio.workshop.links import path_for
from studio.workshop.models import History, Link, Studio
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])


@pytest.fixture
def link() -> Link:
    return builders.link(builders.job())


def visit(address: str, at: object = NOW, client: Client | None = None, method: str = "GET", **given: Any) -> int:
    with time_machine.travel(at, tick=False):  # type: ignore[arg-type]
        response = (client or Client()).generic(method, address, **given)
        response.close()
    return response.status_code


def opened_on() -> date | None:
    return Link.objects.values_list("opened_on", flat=True).get()


def test_a_visit_is_noted_by_its_day_and_nothing_else_changes(link: Link) -> None:
    history = History.objects.count()
    row = Link.objects.values().get()
    assert row["opened_on"] is None
    assert visit(path_for(link)) == 200
    assert Link.objects.values().get() == row | {"opened_on": NOW.date()}
    assert History.objects.count() == history


def test_the_day_is_the_shops(link: Link) -> None:
    """At 13:30 UTC on 10 March it is 02:30 on the 11th in Auckland (UTC+13 until April)."""
    Studio.objects.update(time_zone="Pacific/Auckland")
    visit(path_for(link), NOW.replace(hour=13, minute=30))
    assert opened_on() == date(2026, 3, 11)


def test_a_scanner_that_opens_every_link_twice_writes_once_an_hour(link: Link) -> None:
    def writes(at: object) -> int:
        with CaptureQueriesContext(connections["default"]) as asked:
            assert visit(path_for(link), at) == 200
        return len(asked)

    times = [NOW, NOW, NOW + timedelta(minutes=59), NOW + timedelta(minutes=61), NOW + timedelta(days=1)]
    assert [writes(at) for at in times] == [1, 0, 0, 1, 1]
    assert opened_on() == NOW.date() + timedelta(days=1)


def test_midnight_does_not_wait_for_the_hour(link: Link) -> None:
    visit(path_for(link), NOW.replace(hour=23, minute=50))
    visit(path_for(link), NOW.replace(hour=0, minute=10) + timedelta(days=1))
    assert opened_on() == NOW.date() + timedelta(days=1)


def test_a_day_never_goes_back(link: Link) -> None:
    doorbell.ring(link.public_id, NOW.date())
    doorbell.ring(link.public_id, NOW.date() - timedelta(days=1))
    assert opened_on() == NOW.date()


def test_only_a_page_that_was_opened_counts() -> None:
    things = doors.things()
    page = f"/with/{things['token']}/"
    assert visit(page, method="HEAD") == 200
    assert visit(page, method="POST") == 405
    assert visit(f"{page}{things['sha256']}.jpg") == 200
    assert visit(f"{page}nowhere/") == 404
    assert visit(f"/with/{doors.tampered(str(things['token']))}/") == 404
    Link.objects.update(revoked_at=NOW)
    assert visit(page) == 404
    assert opened_on() is None


def test_a_lead_who_looks_at_what_the_client_sees_is_no_visit(link: Link) -> None:
    client = Client()
    client.force_login(builders.lead())
    assert visit(path_for(link), client=client) == 200
    assert opened_on() is None


def test_other_clients_links_are_left_alone(link: Link) -> None:
    other = builders.link(link.job, "Otto")
    visit(path_for(other))
    assert dict(Link.objects.values_list("public_id", "opened_on")) == {
        link.public_id: None,
        other.public_id: NOW.date(),
    }


def test_it_rings_after_the_answer(link: Link) -> None:
    """Before the answer is closed nothing was written: a busy database keeps no client waiting."""
    with time_machine.travel(NOW, tick=False):
        request = Client().get(path_for(link)).wsgi_request
        response = doorbell.Doorbell(lambda _: HttpResponse("the page"))(request)
        cache.clear()
        Link.objects.update(opened_on=None)
        assert opened_on() is None
        response.close()
    assert opened_on() == NOW.date()


def fails(*args: object, **given: object) -> Any:
    raise DatabaseError(f"no server for {Link.objects.get().public_id}")


@pytest.mark.parametrize("broken", ["database", "cache"])
def test_what_cannot_be_noted_is_logged_without_the_token_and_tried_again(
    link: Link, broken: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(
            "django.db.models.QuerySet.update" if broken == "database" else "studio.doorbell.cache.add", fails
        )
        assert visit(path_for(link)) == 200
    (line,) = [record.getMessage() for record in caplog.records if record.name == doorbell.__name__]
    assert line == "The day of a visit could not be noted: DatabaseError"
    assert opened_on() is None
    visit(path_for(link))
    assert opened_on() == NOW.date()
