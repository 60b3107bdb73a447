"""The page at which somebody who was invited chooses a password."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.invitations import path_for
from studio.workshop.models import Person
from tests import builders, doors
from tests.conftest import NOW
from tests.office.rows import text

pytestmark = pytest.mark.django_db
WORD = "a lump of wet plaster"
TWICE = {"password": WORD, "again": WORD}


@pytest.fixture(autouse=True)
def at_ten_to_eleven() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def ada() -> Person:
    actions.set_out_studio()
    return actions.invite(builders.person("Ada"), by=builders.lead(), now=NOW)


@pytest.mark.parametrize("method", ["get", "head"])
def test_looking_changes_nothing(ada: Person, method: str) -> None:
    for _ in range(3):
        answer = getattr(Browser(), method)(path_for(ada))
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == "private, no-store"
        assert "noindex" in answer.headers["X-Robots-Tag"]
        assert not answer.cookies.get("sessionid")
    assert Person.objects.get(pk=ada.pk).invited_at == NOW


def test_one_chooses_a_password_and_is_in(ada: Person) -> None:
    browser = Browser()
    answer = browser.post(path_for(ada), TWICE)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/bench/")
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert browser.get("/bench/").status_code == 200
    assert Browser().login(username=ada.email, password=WORD)
    assert Browser().get(path_for(ada)).status_code == 404
    assert Browser().post(path_for(ada), TWICE).status_code == 404
    assert Person.objects.get(pk=ada.pk).last_login == NOW


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Write the password that you choose."),
        ({"password": WORD, "again": WORD + "r"}, "The two are not the same. Write both again."),
        ({"password": "tiny", "again": "tiny"}, "It is too short. Write at least ten characters."),
        ({"password": "password1234", "again": "password1234"}, "Too many people use that one. Make up another."),
    ],
)
def test_what_is_wrong_is_said_and_the_link_still_opens(ada: Person, sent: dict[str, str], said: str) -> None:
    browser = Browser()
    answer = browser.post(path_for(ada), sent)
    assert answer.status_code == 422
    assert said in text(answer)
    for typed in sent.values():
        assert f'value="{typed}"' not in answer.content.decode()
    assert browser.get("/bench/").status_code == 302
    assert browser.post(path_for(ada), TWICE).status_code == 302


def failing(ada: Person, why: str) -> str:
    path = path_for(ada)
    match why:
        case "forged":
            return doors.tampered(path.removesuffix("/")) + "/"
        case "unknown":
            return path.replace(f"/{ada.pk}.", f"/{ada.pk + 1000}.")
        case "malformed":
            return "/letterbox/come-in/what/"
        case "used":
            actions.accept_invitation(ada, WORD, now=NOW)
        case "run out":
            Person.objects.filter(pk=ada.pk).update(invited_at=NOW - timedelta(days=8))
            return path_for(Person.objects.get(pk=ada.pk))
        case "taken back":
            actions.take_back_invitation(ada, by=builders.lead(), now=NOW)
        case "left":
            Person.objects.filter(pk=ada.pk).update(is_active=False)
    return path


@pytest.mark.parametrize("method", ["get", "post"])
def test_every_failure_is_one_page(ada: Person, method: str) -> None:
    answers = set()
    for why in ("forged", "unknown", "malformed", "run out", "left", "taken back", "used"):
        with_bo = actions.invite(builders.person(f"Bo{why[:3]}"), by=None, now=NOW)
        answer = getattr(Browser(), method)(failing(with_bo, why), TWICE)
        assert answer.status_code == 404, why
        assert "This way in no longer opens. Ask the lead for a new one." in text(answer)
        told = [header for header in answer.headers.items() if header[0] != "X-Request-Id"]  # random each time
        answers.add((answer.content, tuple(sorted(told))))
    assert len(answers) == 1


def test_in_a_browser_where_somebody_else_is_signed_in_the_newcomer_takes_over(ada: Person) -> None:
    browser = Browser()
    browser.force_login(builders.lead())
    before = browser.session.session_key
    browser.post(path_for(ada), TWICE)
    assert browser.session["_auth_user_id"] == str(ada.pk)
    assert browser.session.session_key != before
    assert browser.get("/office/").status_code == 403


def test_a_password_like_ones_own_address_is_refused(ada: Person) -> None:
    """Or the first thing that anybody tries opens the studio."""
    for guess in (ada.email, "bodkinyard.example"):
        answer = Browser().post(path_for(ada), {"password": guess, "again": guess})
        assert answer.status_code == 422
        assert "It is too much like your name or address. Make up another." in text(answer)


def test_the_form_is_guarded_against_forgery(ada: Person) -> None:
    assert Browser(enforce_csrf_checks=True).post(path_for(ada), TWICE).status_code == 403
    assert Person.objects.get(pk=ada.pk).invited_at == NOW
