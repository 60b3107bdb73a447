"""Who may know how the studio is, and what they read."""

from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from django.db import OperationalError, connection
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from pytest_django import DjangoAssertNumQueries, Settings

from studio.workshop.models import Errand, ErrandState, Kind
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
ADDRESSES = ("/healthz", "/metrics")
HERE = {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "127.0.0.1:8000"}
KEY = "k" * 40


@pytest.fixture(autouse=True)
def key(settings: Settings) -> None:
    settings.METRICS_KEY = KEY
    settings.ALLOWED_HOSTS = ["yard.example", "localhost", "127.0.0.1", "[::1]"]


def ask(address: str, **environ: str) -> tuple[int, str]:
    response = Client().get(address, **environ)  # type: ignore[arg-type]
    return response.status_code, response.content.decode()


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize(
    "environ",
    [
        HERE,
        {"REMOTE_ADDR": "::1", "HTTP_HOST": "[::1]:8000"},
        {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "localhost"},
        {"REMOTE_ADDR": "::1", "HTTP_HOST": "[::1]"},
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example", "HTTP_AUTHORIZATION": f"bearer {KEY}"},
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example", "HTTP_AUTHORIZATION": f"Bearer {KEY}"},
    ],
)
def test_this_machine_and_who_has_the_key_may_know(address: str, environ: dict[str, str]) -> None:
    assert ask(address, **environ)[0] == 200


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize(
    "environ",
    [
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example"},
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "localhost"},
        {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "yard.example"},
        HERE | {"HTTP_X_FORWARDED_FOR": "203.0.113.9"},
        HERE | {"HTTP_FORWARDED": "for=203.0.113.9"},
        HERE | {"HTTP_VIA": "1.1 proxy"},
        HERE | {"HTTP_X_REAL_IP": "203.0.113.9"},
        HERE | {"HTTP_X_FORWARDED_PORT": "443"},
        {"REMOTE_ADDR": "", "HTTP_HOST": "localhost"},
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example", "HTTP_AUTHORIZATION": "Bearer "},
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example", "HTTP_AUTHORIZATION": f"Bearer {KEY}x"},
        {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example", "HTTP_AUTHORIZATION": "Bearer é"},
    ],
)
def test_for_everybody_else_there_is_nothing_here(address: str, environ: dict[str, str]) -> None:
    assert ask(address, **environ) == ask("/nowhere", **environ)
    assert ask(address, **environ)[0] == 404


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize("method", ["post", "put", "options"])
def test_nor_whatever_they_send(address: str, method: str) -> None:
    """Else the answer would tell that there is something."""
    stranger = {"REMOTE_ADDR": "203.0.113.9", "HTTP_HOST": "yard.example"}
    answer = getattr(Client(enforce_csrf_checks=True), method)(address, **stranger)
    assert answer.status_code == 404
    assert getattr(Client(), method)(address, **HERE).status_code == 405


def test_it_is_well_and_leaves_nothing_behind() -> None:
    response = Client().get("/healthz", **HERE)  # type: ignore[arg-type]
    assert response.content == b"ok\n"
    assert not response.cookies


def test_it_says_what_is_wrong(monkeypatch: pytest.MonkeyPatch, settings: Settings, tmp_path: Path) -> None:
    settings.FILE_UPLOAD_TEMP_DIR = tmp_path / "gone"
    assert ask("/healthz", **HERE) == (503, "No photo can be kept: the data folder cannot be written.\n")

    def away() -> None:
        raise OperationalError("no")

    monkeypatch.setattr(connection, "cursor", away)
    assert ask("/healthz", **HERE) == (503, "The database does not answer.\n")


def samples() -> dict[tuple[str, frozenset[tuple[str, str]]], float]:
    """As prometheus_client, the format's own reference parser, reads it."""
    with time_machine.travel(NOW + timedelta(hours=1), tick=False):
        response = Client().get("/metrics", **HERE)  # type: ignore[arg-type]
    assert response.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    families = list(text_string_to_metric_families(response.content.decode()))
    assert all(family.documentation and family.type in {"gauge", "counter"} for family in families)
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in families
        for sample in family.samples
    }


def errands(kind: Kind, state: str) -> float:
    return samples()["studio_errands", frozenset({("kind", kind.value), ("state", state)})]


def test_what_is_under_way_is_counted() -> None:
    job = builders.job()
    builders.link(job)
    builders.log_done(builders.stage(job))
    assert errands(Kind.DEVELOP_PHOTO, "waiting") == 1
    assert samples()["studio_oldest_due_seconds", frozenset()] == 3600
    assert samples()["studio_photos_waiting", frozenset()] == 1
    Errand.objects.filter(kind=Kind.DEVELOP_PHOTO).update(state=ErrandState.HANDING)
    assert errands(Kind.DEVELOP_PHOTO, "underway") == 1
    Errand.objects.filter(kind=Kind.DEVELOP_PHOTO).update(state=ErrandState.FAILED)
    assert errands(Kind.DEVELOP_PHOTO, "failed") == 1
    Errand.objects.filter(kind=Kind.DEVELOP_PHOTO).update(state=ErrandState.UNKNOWN)
    assert errands(Kind.DEVELOP_PHOTO, "unknown") == 1
    assert errands(Kind.SEND_LETTER, "waiting") == 0


def test_letters_and_failures_are_counted() -> None:
    job = builders.job()
    builders.link(job)
    builders.log_done(builders.stage(job), photo=False)
    builders.work(NOW + timedelta(minutes=10))
    before = samples()["studio_closed_doors_total", frozenset()]
    assert samples()["studio_letters", frozenset({("state", "sent")})] == 1
    Client().post("/sign-in/", {"email": "nobody@yard.example", "password": "a guess"}, headers={"host": "localhost"})
    assert samples()["studio_sign_in_failures_total", frozenset()] >= 1
    assert samples()["studio_closed_doors_total", frozenset()] == before


def test_it_asks_the_same_however_much_there_is(django_assert_num_queries: DjangoAssertNumQueries) -> None:
    builders.log_done(builders.stage(builders.job()))
    with django_assert_num_queries(4):
        ask("/metrics", **HERE)
