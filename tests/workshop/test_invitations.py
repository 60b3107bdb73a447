"""The way in for somebody of the studio: what opens it, what ends it, and that it is written down nowhere."""

import string
import threading
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection, connections
from pytest_django import Settings

from studio import env, keys
from studio.workshop import actions, invitations
from studio.workshop.invitations import OPENS_FOR, address_for, person_for, token_for
from studio.workshop.models import Errand, ErrandState, History, Kind, Person, Role
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
BASE64URL = string.ascii_letters + string.digits + "-_"  # RFC 4648, section 5
WORD = "a lump of wet plaster"
LATER = NOW + timedelta(hours=1)


@pytest.fixture
def ada() -> Person:
    return actions.invite(builders.person("Ada"), by=builders.lead(), now=NOW)


def fresh(person: Person) -> Person:
    return Person.objects.get(pk=person.pk)


def change(person: Person, **other: object) -> None:
    now = {"name": person.name, "email": person.email, "role": Role(person.role), "is_active": person.is_active} | other
    actions.change_person(person, **now, version=fresh(person).version, by=builders.lead(), now=LATER)  # type: ignore[arg-type]


def test_a_token_lets_in_whom_it_was_made_for(ada: Person) -> None:
    bo = actions.invite(builders.person("Bo"), by=None, now=NOW)
    assert person_for(token_for(ada), NOW) == ada
    assert person_for(token_for(bo), NOW) == bo
    assert address_for(ada).endswith(f"/letterbox/come-in/{token_for(ada)}/")


def test_who_was_not_invited_has_no_token_that_opens() -> None:
    assert person_for(token_for(builders.person("Ada")), NOW) is None


def test_every_character_counts(ada: Person) -> None:
    token = token_for(ada)
    signed_from = token.index(".") + 1
    assert len(token[signed_from:]) >= 24
    for place, character in enumerate(token):
        for instead in BASE64URL if place >= signed_from else "12.":
            if instead != character:
                assert person_for(token[:place] + instead + token[place + 1 :], NOW) is None, place


def test_neither_shorter_nor_longer(ada: Person) -> None:
    token = token_for(ada)
    for wrong in (
        token[:-1],
        token + "A",
        token + "=",
        token + "\n",
        " " + token,
        "0" + token,
        "9" * 30 + token,
        "",
        ".",
    ):
        assert person_for(wrong, NOW) is None


def test_it_opens_for_seven_days(ada: Person) -> None:
    assert person_for(token_for(ada), NOW + timedelta(days=7, seconds=-1)) == ada
    assert person_for(token_for(ada), NOW + timedelta(days=7)) is None
    assert timedelta(days=7) == OPENS_FOR


def test_another_key_opens_nothing(ada: Person, settings: Settings) -> None:
    token = token_for(ada)
    settings.SECRET_KEY = keys.new()
    assert person_for(token, NOW) is None


@pytest.mark.parametrize(
    "end",
    [
        lambda ada: actions.accept_invitation(ada, WORD, now=LATER),
        lambda ada: actions.invite(ada, by=None, now=LATER),
        lambda ada: actions.take_back_invitation(ada, by=builders.lead(), now=LATER),
        lambda ada: actions.set_password(ada, WORD, by=builders.lead(), now=LATER),
        lambda ada: change(ada, is_active=False),
        lambda ada: change(ada, email="ada@elsewhere.example"),
        lambda ada: Person.objects.filter(pk=ada.pk).update(is_active=False),
    ],
    ids=["used", "a newer one", "taken back", "a password", "has left", "another address", "left by the row alone"],
)
def test_it_is_over(ada: Person, end: Callable[[Person], object]) -> None:
    token = token_for(ada)
    end(ada)
    assert person_for(token, LATER) is None


def test_coming_back_opens_nothing_old(ada: Person) -> None:
    token = token_for(ada)
    change(ada, is_active=False)
    assert fresh(ada).session_round > ada.session_round
    change(fresh(ada), is_active=True)
    assert person_for(token, LATER) is None


def test_another_name_leaves_it_open(ada: Person) -> None:
    change(ada, name="Ada B.")
    assert person_for(token_for(ada), LATER) == ada


def test_it_is_stored_nowhere(ada: Person) -> None:
    signature = token_for(ada).partition(".")[2]
    seen = 0
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            for row in cursor.fetchall():
                assert signature not in " ".join(map(str, row)), table
                seen += 1
    assert seen > 3


@pytest.mark.django_db(transaction=True)
def test_of_two_at_once_one_wins(ada: Person) -> None:
    """Each has seen the form by the same link, and sends it in the same moment."""
    won, lost = [], []
    begin = threading.Barrier(2)

    def accept(password: str) -> None:
        begin.wait()
        try:
            actions.accept_invitation(ada, password, now=LATER)
            won.append(password)
        except actions.Refused:
            lost.append(password)
        finally:
            connections.close_all()

    racing = [threading.Thread(target=accept, args=(f"{WORD} {number}",)) for number in range(2)]
    for thread in racing:
        thread.start()
    for thread in racing:
        thread.join()
    assert (len(won), len(lost)) == (1, 1)
    assert fresh(ada).check_password(won[0])
    assert History.objects.filter(verb="accepted invitation").count() == 1


def test_who_has_left_is_not_invited(ada: Person) -> None:
    change(ada, is_active=False)
    with pytest.raises(actions.Refused, match="Let them first"):
        actions.invite(fresh(ada), by=builders.lead(), now=LATER)


def test_by_letting_somebody_in_nobody_gets_further_than_they_are(ada: Person, settings: Settings) -> None:
    ines, bo = builders.lead(), builders.person("Bo")
    actions.let_look_at_record(ada, by=None, now=NOW)
    settings.MAIL = env.MailServer("mail.example", 587, "", "", env.Tls.STARTTLS)
    for tried in (
        lambda by: actions.invite(fresh(ada), by=by, now=LATER),
        lambda by: actions.send_invitation(fresh(ada), by=by, now=LATER),
        lambda by: actions.set_password(fresh(ada), WORD, by=by, now=LATER),
    ):
        with pytest.raises(actions.Refused, match="not yours to give"):
            tried(ines)
    actions.let_look_at_record(ines, by=None, now=NOW)
    actions.invite(fresh(ada), by=fresh(ines), now=LATER)
    actions.invite(bo, by=builders.lead(), now=LATER)


def test_a_letter_is_asked_for_and_taken_back(ada: Person, settings: Settings, published: list[str]) -> None:
    ines = builders.lead()
    with pytest.raises(actions.Refused, match="No mail server is set up"):
        actions.send_invitation(ada, by=ines, now=LATER)
    settings.MAIL = env.MailServer("mail.example", 587, "", "", env.Tls.STARTTLS)
    actions.send_invitation(ada, by=ines, now=LATER)
    errand = Errand.objects.get(kind=Kind.INVITE)
    assert (errand.subject, errand.state, errand.due_at) == (str(ada.pk), ErrandState.WAITING, LATER)
    actions.take_back_invitation(ada, by=ines, now=LATER)
    errand.refresh_from_db()
    assert errand.state == ErrandState.DONE
    with pytest.raises(actions.Refused, match="no longer opens"):
        actions.send_invitation(fresh(ada), by=ines, now=LATER)


def test_ways_in_are_no_facts_of_the_plan(ada: Person) -> None:
    Errand.objects.all().delete()
    ines = builders.lead()
    actions.invite(ada, by=ines, now=LATER)
    actions.accept_invitation(fresh(ada), WORD, now=LATER)
    actions.set_password(ada, WORD, by=ines, now=LATER)
    actions.end_sessions(ada, by=ines, now=LATER)
    assert not Errand.objects.filter(kind=Kind.REFRESH_PLAN, asked_at=LATER).exists()
    assert invitations.opens_until(fresh(ada)) is None
