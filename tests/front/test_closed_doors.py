"""Addresses of clients that do not open are counted by where they are tried from, and nothing is blocked by it."""

from collections.abc import Iterator

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client

from studio.front import closed_doors
from studio.workshop.links import path_for
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])
UNKNOWN = "/with/zzzzzzzzzz.AAAAAAAAAAAAAAAAAAAAAAAA/"
WARNING = "From one place 100 addresses of clients were tried in an hour that do not open."


@pytest.fixture(autouse=True)
def an_empty_cache() -> Iterator[None]:
    cache.clear()
    yield
    cache.clear()


def warnings(log: pytest.LogCaptureFixture) -> list[str]:
    return [record.getMessage() for record in log.records if record.name == closed_doors.__name__]


def knock(times: int, place: str = "192.0.2.7", address: str = UNKNOWN) -> int:
    """From an address of RFC 5737. Returns what the last knock was answered with."""
    client = Client(REMOTE_ADDR=place)
    return [client.get(address).status_code for _ in range(times)][-1]


def test_a_hundred_from_one_place_within_an_hour_are_one_line(caplog: pytest.LogCaptureFixture) -> None:
    knock(99)
    knock(99, "198.51.100.9")
    assert warnings(caplog) == []
    knock(1)
    assert warnings(caplog) == [WARNING]
    knock(50)
    assert warnings(caplog) == [WARNING]
    assert cache.get(closed_doors.TOTAL) == 99 + 99 + 1 + 50


def test_the_line_and_the_cache_hold_neither_address_nor_token(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    keys = []
    add = cache.add
    monkeypatch.setattr(cache, "add", lambda key, *rest: keys.append(key) or add(key, *rest))  # type: ignore[func-returns-value]
    knock(100)
    for text in (*warnings(caplog), *keys):
        assert "192.0.2.7" not in text
        assert "zzzzzzzzzz" not in text
    assert len(set(keys)) == 3


def test_after_an_hour_it_begins_anew(caplog: pytest.LogCaptureFixture) -> None:
    with time_machine.travel(NOW) as clock:
        knock(99)
        clock.shift(closed_doors.HOUR_S + 1)
        knock(99)
        assert warnings(caplog) == []
        knock(1)
        assert warnings(caplog) == [WARNING]


def test_nothing_is_blocked() -> None:
    """A whole theatre may stand behind one address."""
    link = builders.link(builders.job())
    assert knock(150) == 404
    assert knock(1, address=path_for(link)) == 200
    assert cache.get(closed_doors.TOTAL) == 150


@pytest.mark.parametrize("address", ["/with/odd/", "/with/zzzzzzzzzz.AAAAAAAAAAAAAAAAAAAAAAAA/x.jpg", "/with/a/b/c"])
def test_every_failure_counts(address: str) -> None:
    knock(1, address=address)
    assert cache.get(closed_doors.TOTAL) == 1


def test_a_cache_that_fails_changes_nothing(monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    def broken(*args: object) -> bool:
        raise ConnectionError("cache.example refused 192.0.2.7")

    before = Client().get(UNKNOWN)
    monkeypatch.setattr(cache, "add", broken)
    after = Client().get(UNKNOWN)
    assert (after.status_code, after.content) == (404, before.content)
    assert warnings(caplog) == ["A client's address that does not open was not counted: ConnectionError"]
