"""How often a password may be tried, and that nobody can use this to keep somebody else out."""

import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from unittest.mock import Mock

import pytest
import redis
import time_machine
from django.contrib.auth import hashers
from django.core import signing
from django.core.cache import cache
from django.test import Client, RequestFactory
from pytest_django import Settings

from studio import env
from studio.front import known_browsers, throttle
from studio.running.place import free_port
from studio.workshop import actions, invitations
from studio.workshop.models import Person, Role
from tests import builders, doors
from tests.conftest import NOW, need_service
from tests.running.test_supervisor import wait_for

pytestmark = pytest.mark.django_db

PASSWORD = "a lump of wet plaster"
WAIT = "Too many tries. Wait fifteen minutes, or ask the lead for a new way in."
YEAR = timedelta(days=365)


@pytest.fixture(autouse=True)
def quick(settings: Settings) -> None:
    """What a hash costs is not measured here."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as stands:
        yield stands


def with_password(name: str, role: Role = Role.MAKER) -> Person:
    person = builders.person(name, role)
    actions.set_password(person, PASSWORD, by=None, now=NOW)
    return Person.objects.get(pk=person.pk)


@pytest.fixture
def ines() -> Person:
    return with_password("Ines", Role.LEAD)


def tries(browser: Client, email: str, password: str = "wrong", address: str = "192.0.2.7") -> int:
    return browser.post("/sign-in/", {"email": email, "password": password}, REMOTE_ADDR=address).status_code


def by_strangers(email: str, count: int) -> list[int]:
    """Each from an address of its own (RFC 5737)."""
    return [tries(Client(), email, address=f"198.51.100.{number}") for number in range(count)]


@pytest.mark.parametrize("email", ["ines@bodkinyard.example", "nobody@bodkinyard.example"])
def test_ten_tries_an_account_whether_there_is_one_or_not(ines: Person, email: str) -> None:
    assert by_strangers(email, 12) == [422] * 10 + [429] * 2
    assert by_strangers(email.upper(), 1) == [429]


def test_the_right_password_waits_too_and_then_goes(ines: Person, clock: time_machine.Traveller) -> None:
    assert by_strangers(ines.email, 10)[-1] == 422
    clock.shift(timedelta(minutes=14, seconds=59))
    answer = Client().post("/sign-in/", {"email": ines.email, "password": PASSWORD})
    assert answer.status_code == 429
    assert WAIT in answer.content.decode()
    assert f'value="{ines.email}"' in answer.content.decode()
    assert "<title>Error: Sign in" in answer.content.decode()
    clock.shift(timedelta(seconds=1))
    assert tries(Client(), ines.email, PASSWORD) == 302


def test_further_tries_do_not_make_the_wait_longer(ines: Person, clock: time_machine.Traveller) -> None:
    by_strangers(ines.email, 10)
    clock.shift(timedelta(minutes=14))
    assert by_strangers(ines.email, 5) == [429] * 5
    clock.shift(timedelta(minutes=1))
    assert tries(Client(), ines.email, PASSWORD) == 302


def test_right_ones_do_not_count(ines: Person) -> None:
    assert [tries(Client(), ines.email, PASSWORD) for _ in range(70)] == [302] * 70


def test_when_it_is_too_often_no_hash_is_computed(ines: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    for email in (ines.email, "nobody@bodkinyard.example"):
        by_strangers(email, 10)
        hashed = Mock(side_effect=AssertionError("a hash was computed"))
        with monkeypatch.context() as patched:
            patched.setattr(hashers.MD5PasswordHasher, "encode", hashed)
            assert by_strangers(email, 3) == [429] * 3


def test_sixty_tries_an_address_and_then_none_of_anybodys_is_taken(ines: Person) -> None:
    found = [tries(Client(), f"guess{number}@bodkinyard.example") for number in range(61)]
    assert found == [422] * 60 + [429]
    for _ in range(20):
        assert tries(Client(), ines.email) == 429
    assert by_strangers(ines.email, 1) == [422]


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2001:db8:1:2::7", "2001:db8:1:2:ffff::9", True),
        ("2001:db8:1:2::7", "2001:db8:1:3::7", False),
        ("::ffff:192.0.2.7", "192.0.2.7", True),
        ("::ffff:192.0.2.7", "::ffff:192.0.2.8", False),
        ("192.0.2.7", "192.0.2.8", False),
        ("fe80::1%eth0", "fe80::2%eth1", True),
        ("", "", True),
    ],
)
def test_which_addresses_are_one(one: str, other: str, same: bool) -> None:
    """Addresses for documentation: RFC 3849 and RFC 5737."""
    keys = [
        throttle.of_sign_in(RequestFactory().post("/", REMOTE_ADDR=address), "a@b.example", None)[0].key
        for address in (one, other)
    ]
    assert (keys[0] == keys[1]) is same


def test_no_header_makes_another_address_of_it() -> None:
    for number in range(60):
        Client().post(
            "/sign-in/",
            {"email": f"guess{number}@bodkinyard.example", "password": "wrong"},
            headers={"X-Forwarded-For": f"198.51.100.{number}", "Forwarded": f"for=198.51.100.{number}"},
        )
    assert Client().post("/sign-in/", {"email": "x@bodkinyard.example", "password": "wrong"}).status_code == 429


# the browser that is known


def known(person: Person, browser: Client | None = None) -> Client:
    """They have signed in here before, and out again."""
    browser = browser or Client()
    assert tries(browser, person.email, PASSWORD) == 302
    browser.post("/sign-out/")
    return browser


def test_a_stranger_cannot_make_a_leads_known_browser_wait(ines: Person) -> None:
    browser = known(ines)
    by_strangers(ines.email, 30)  # at the account
    for number in range(80):  # from the same address
        tries(Client(), f"guess{number}@bodkinyard.example")
    assert tries(Client(), ines.email, PASSWORD) == 429
    assert tries(browser, ines.email) == 422
    assert tries(browser, ines.email, PASSWORD) == 302


def test_a_known_browser_has_ten_tries_of_its_own(ines: Person, clock: time_machine.Traveller) -> None:
    browser = known(ines)
    assert [tries(browser, ines.email) for _ in range(12)] == [422] * 10 + [429] * 2
    assert tries(Client(), ines.email, PASSWORD) == 302  # and takes none of anybody else's
    clock.shift(timedelta(minutes=15))
    assert tries(browser, ines.email, PASSWORD) == 302


def test_another_persons_cookie_helps_nothing(ines: Person) -> None:
    browser = known(with_password("Ada"))
    by_strangers(ines.email, 10)
    assert tries(browser, ines.email) == 429
    assert tries(browser, ines.email, PASSWORD) == 429


def forged(good: str, ines: Person) -> Iterator[str]:
    yield from (
        "",
        "a:b:c",
        "é",
        "%00",
        good[:-1],
        doors.tampered(good),
        good + "A",
        f"x{good}",
    )
    yield signing.dumps(["mine", [ines.pk]], salt=known_browsers.__name__, key="k" * 40)
    yield signing.dumps(["mine", [ines.pk]], salt="studio.front.something")


def test_a_forged_cookie_is_none(ines: Person) -> None:
    good = known(ines).cookies["browser"].value
    by_strangers(ines.email, 10)
    for value in (*forged(good, ines), good):
        browser = Client()
        browser.cookies["browser"] = value
        assert tries(browser, ines.email, PASSWORD) == (302 if value == good else 429), value


def test_one_cookie_knows_the_five_who_came_last(ines: Person) -> None:
    browser = known(ines)
    first = signing.loads(browser.cookies["browser"].value, salt=known_browsers.__name__)
    people = [with_password(name) for name in ("Ada", "Bo", "Cy", "Dee", "Eve")]
    for person in people:
        known(person, browser)
    assert set(browser.cookies) - {"sessionid", "csrftoken", "messages"} == {"browser"}
    name, persons = signing.loads(browser.cookies["browser"].value, salt=known_browsers.__name__)
    assert (name, persons) == (first[0], [person.pk for person in reversed(people)])
    by_strangers(ines.email, 10)
    by_strangers(people[0].email, 10)
    assert tries(browser, ines.email, PASSWORD) == 429
    assert tries(browser, people[0].email, PASSWORD) == 302


def test_signing_in_again_makes_no_new_browser_of_it(ines: Person, clock: time_machine.Traveller) -> None:
    """The year begins anew, and what was mistyped is forgotten; a wrong one in between is not."""
    browser = known(ines)
    first = browser.cookies["browser"].value
    assert [tries(browser, ines.email) for _ in range(9)] == [422] * 9
    clock.shift(timedelta(minutes=1))
    known(ines, browser)
    second = browser.cookies["browser"].value
    assert second != first
    assert [tries(browser, ines.email) for _ in range(11)] == [422] * 10 + [429]
    browser.cookies["browser"] = first
    assert tries(browser, ines.email, PASSWORD) == 429


def test_the_right_password_gives_strangers_no_tries_anew(ines: Person) -> None:
    by_strangers(ines.email, 9)
    known(ines)
    known(ines, known(ines))
    assert by_strangers(ines.email, 2) == [422, 429]


def test_the_cookie_and_how_long_it_is_good(ines: Person, clock: time_machine.Traveller, settings: Settings) -> None:
    settings.SECURE = False
    browser = known(ines)
    cookie = browser.cookies["browser"]
    assert (cookie["max-age"], cookie["httponly"], cookie["samesite"]) == (YEAR.total_seconds(), True, "Lax")
    assert not cookie["secure"]
    request = RequestFactory().get("/", HTTP_COOKIE=f"browser={cookie.value}")
    clock.shift(YEAR - timedelta(seconds=1))
    assert known_browsers.name_of(request, ines)
    clock.shift(timedelta(seconds=2))
    assert not known_browsers.name_of(request, ines)
    settings.SECURE = True
    assert known(ines).cookies["__Host-browser"]["secure"]


def test_who_comes_in_by_an_invitation_is_known_there(ines: Person) -> None:
    browser, row = Client(), actions.invite(ines, by=None, now=NOW)
    with time_machine.travel(NOW, tick=False):
        browser.post(invitations.path_for(row), {"password": PASSWORD, "again": PASSWORD})
    assert "browser" in browser.cookies


def test_a_link_lets_in_while_the_account_waits(ines: Person) -> None:
    by_strangers(ines.email, 20)
    row = actions.invite(ines, by=None, now=NOW)
    with time_machine.travel(NOW, tick=False):
        answer = Client().post(invitations.path_for(row), {"password": PASSWORD, "again": PASSWORD})
    assert answer.status_code == 302


# the counting


def test_many_at_once_do_not_slip_through(ines: Person) -> None:
    limits = throttle.of_sign_in(RequestFactory().post("/"), ines.email, ines)
    begin, let_through = threading.Barrier(40), []

    def one() -> None:
        begin.wait()
        if throttle.may_try(limits):
            let_through.append(1)

    racing = [threading.Thread(target=one) for _ in range(40)]
    for thread in racing:
        thread.start()
    for thread in racing:
        thread.join()
    assert len(let_through) == throttle.AN_ACCOUNT


def test_what_is_kept_names_neither_account_nor_address(ines: Person) -> None:
    request = RequestFactory().post("/", REMOTE_ADDR="192.0.2.7")
    keys = [limit.key for limit in throttle.of_sign_in(request, "nobody@bodkinyard.example", None)]
    assert all(key.startswith("tries:") and len(key) == 70 for key in keys)
    assert len(set(keys)) == 2


def test_all_that_failed_is_counted(ines: Person) -> None:
    by_strangers(ines.email, 12)
    assert cache.get(throttle.FAILURES) == 12
    Client().post("/sign-in/", {"email": "ada", "password": ""})  # no try
    assert cache.get(throttle.FAILURES) == 12


def broken(*given: object, **other: object) -> None:
    raise ConnectionError("nobody there")


def test_a_cache_that_does_not_answer_locks_nobody_out_and_says_so_once(
    ines: Person, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    assert by_strangers(ines.email, 1) == [422]  # it answers, whatever another test left behind
    with monkeypatch.context() as patched:
        for name in ("add", "incr", "decr", "touch", "get", "set"):
            patched.setattr(cache, name, broken)
        assert by_strangers(ines.email, 15) == [422] * 15
        assert tries(Client(), ines.email, PASSWORD) == 302
    said = [line for line in caplog.records if "the cache does not answer" in line.getMessage()]
    assert len(said) == 1
    assert by_strangers(ines.email, 11)[-1] == 429  # it answers again


@pytest.fixture
def server(tmp_path: Path) -> Iterator[str]:
    """The address of a Redis of this test's own."""
    program, port = need_service("redis-server"), free_port("127.0.0.1", 0)
    command = [program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", str(tmp_path)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        yield f"redis://127.0.0.1:{port}/1"
    finally:
        process.kill()
        process.wait()


@pytest.mark.services
def test_several_processes_count_in_one_redis_and_one_that_died_locks_nobody_out(
    ines: Person, settings: Settings, monkeypatch: pytest.MonkeyPatch, server: str
) -> None:
    monkeypatch.setenv("STUDIO_CACHE_URL", server)
    settings.CACHES = {"default": env.cache("CACHE_URL")}

    client = redis.Redis.from_url(server)

    def answers() -> bool:
        with suppress(redis.ConnectionError):
            return bool(client.ping())
        return False

    assert wait_for(answers, 10)
    browser = known(ines)
    assert by_strangers(ines.email, 12) == [422] * 10 + [429] * 2
    assert tries(browser, ines.email, PASSWORD) == 302
    assert cache.get(throttle.FAILURES) == 12
    # The time that each count has left, as Redis says (PTTL), is a quarter of an hour at most.
    left = [client.pttl(key) for key in client.keys("*tries:*")]
    assert len(left) >= 12
    assert all(0 < ms <= throttle.WINDOW_S * 1000 for ms in left)
    client.shutdown(nosave=True)
    began = time.monotonic()
    assert by_strangers(ines.email, 12) == [422] * 12
    assert time.monotonic() - began < 12
