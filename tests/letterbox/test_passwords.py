"""Changing one's own password, and what ends a session."""

from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.test import Client as Browser

from studio.workshop import actions, duties
from studio.workshop.models import Errand, History, Kind, Person
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text

pytestmark = pytest.mark.django_db
OLD, NEW = "a lump of wet plaster", "a lump of dry plaster"
PAGE = "/letterbox/password/"
RIGHT = {"old": OLD, "password": NEW, "again": NEW}


@pytest.fixture
def ada() -> Person:
    actions.set_out_studio()
    person = builders.person("Ada")
    actions.set_password(person, OLD, by=None, now=NOW)
    return Person.objects.get(pk=person.pk)


def signed_in(person: Person) -> Browser:
    browser = Browser()
    browser.force_login(person)
    assert is_in(browser)
    return browser


def is_in(browser: Browser) -> bool:
    return browser.get("/bench/").status_code == 200


def test_it_is_changed_and_only_this_browser_stays(ada: Person) -> None:
    here, elsewhere = signed_in(ada), signed_in(ada)
    key = here.session.session_key
    answer = here.post(PAGE, RIGHT, follow=True)
    assert "You sign in with the new password from now on." in text(answer)
    assert here.session.session_key != key
    assert (is_in(here), is_in(elsewhere)) == (True, False)
    assert Browser().login(username=ada.email, password=NEW)
    assert not Browser().login(username=ada.email, password=OLD)
    assert History.objects.filter(verb="set password", by=ada).count() == 1


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"old": "wrong"}, "That is not your password. Write the one that you sign in with now."),
        ({"old": ""}, "Write the password that you have."),
        ({"again": OLD}, "The two are not the same. Write both again."),
        ({"password": "short", "again": "short"}, "It is too short. Write at least ten characters."),
    ],
)
def test_what_is_wrong_changes_nothing(ada: Person, sent: dict[str, str], said: str) -> None:
    here, elsewhere = signed_in(ada), signed_in(ada)
    answer = here.post(PAGE, RIGHT | sent)
    assert answer.status_code == 422
    assert said in text(answer)
    assert is_in(elsewhere)
    assert Person.objects.get(pk=ada.pk).check_password(OLD)


def test_the_old_one_cannot_be_guessed_and_nobody_else_uses_up_the_tries(ada: Person) -> None:
    for number in range(20):  # strangers at the sign-in
        Browser().post("/sign-in/", {"email": ada.email, "password": "wrong"}, REMOTE_ADDR=f"198.51.100.{number}")
    here = signed_in(ada)
    assert [here.post(PAGE, RIGHT | {"old": "wrong"}).status_code for _ in range(11)] == [422] * 10 + [429]
    refused = here.post(PAGE, RIGHT)
    assert refused.status_code == 429
    assert "Too many tries." in text(refused)
    cache.clear()
    assert here.post(PAGE, RIGHT).status_code == 302


def test_who_has_none_is_told_how_to_get_one(ada: Person) -> None:
    bo = signed_in(builders.person("Bo"))
    assert "Ask a lead for a link to choose one." in text(bo.get(PAGE))
    assert 'name="old"' not in bo.get(PAGE).content.decode()
    assert bo.post(PAGE, RIGHT | {"old": "!"}).status_code == 422


def test_one_signs_oneself_out_elsewhere(ada: Person) -> None:
    here, elsewhere, others = signed_in(ada), signed_in(ada), signed_in(builders.person("Bo"))
    assert "You are signed out everywhere but here." in text(here.post(f"{PAGE}sign-out/", follow=True))
    assert (is_in(here), is_in(elsewhere), is_in(others)) == (True, False, True)
    assert History.objects.filter(verb="ended sessions", by=ada).count() == 1


def test_every_page_with_a_foot_leads_there(ada: Person) -> None:
    assert f'href="{PAGE}"' in signed_in(ada).get("/bench/").content.decode()
    assert PAGE not in Browser().get("/sign-in/").content.decode()


def leave(ada: Person, is_active: bool = False) -> None:
    row = Person.objects.get(pk=ada.pk)
    about = {"name": row.name, "email": row.email, "role": row.role, "version": row.version}
    actions.change_person(row, **about, is_active=is_active, by=builders.lead(), now=NOW)  # type: ignore[arg-type]


def leave_and_come_back(ada: Person) -> None:
    leave(ada)
    leave(ada, is_active=True)


@pytest.mark.parametrize(
    "end",
    [
        leave,
        leave_and_come_back,
        lambda ada: actions.set_password(ada, NEW, by=builders.lead(), now=NOW),
        lambda ada: actions.accept_invitation(actions.invite(ada, by=None, now=NOW), NEW, now=NOW),
        lambda ada: actions.end_sessions(ada, by=builders.lead(), now=NOW),
    ],
    ids=["leaves", "leaves and comes back", "a password is set", "comes in by a link", "is signed out"],
)
def test_a_session_ends_at_once_when_its_owner(ada: Person, end: Callable[[Person], object]) -> None:
    browsers = [signed_in(ada), signed_in(ada)]
    other = signed_in(builders.person("Bo"))
    end(ada)
    assert [is_in(browser) for browser in browsers] == [False, False]
    assert is_in(other)


def test_sessions_that_ran_out_are_thrown_away(ada: Person) -> None:
    for key, after in (("old", -1), ("good", 1)):
        Session.objects.create(session_key=key, session_data="", expire_date=NOW + timedelta(seconds=after))
    errand = Errand.objects.create(kind=Kind.TIDY_FILES, key="1", subject="daily", asked_at=NOW, due_at=NOW)
    duties.run(errand.pk, lambda: NOW)
    assert list(Session.objects.values_list("session_key", flat=True)) == ["good"]


def test_a_session_is_over_after_thirty_days(ada: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        browser = signed_in(ada)
    with time_machine.travel(NOW + timedelta(days=29, hours=23), tick=False):
        assert is_in(browser)
    with time_machine.travel(NOW + timedelta(days=30, hours=1), tick=False):
        assert not is_in(browser)


def test_signing_out_ends_it_on_the_server_too(ada: Person) -> None:
    """A copy of the cookie opens nothing afterwards."""
    browser, copy = signed_in(ada), Browser()
    copy.cookies["sessionid"] = browser.cookies["sessionid"].value
    assert is_in(copy)
    browser.post("/sign-out/")
    assert not is_in(copy)
