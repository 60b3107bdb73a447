"""What the office says of who comes in and how, and what it lets a lead do about it."""

from datetime import datetime, timedelta

import pytest
from django.test import Client as Browser
from pytest_django import Settings

from studio import env
from studio.workshop import actions, invitations
from studio.workshop.models import Errand, History, Kind, Person
from tests.conftest import NOW
from tests.office.rows import text

WORD = "a lump of wet plaster"


def page(person: Person) -> str:
    return f"/office/people/{person.pk}/"


def address(person: Person) -> str:
    return invitations.address_for(Person.objects.get(pk=person.pk))


def test_a_lead_makes_shows_renews_and_takes_back_a_link(office: Browser, ada: Person) -> None:
    assert "Invite Ada" in text(office.get(page(ada)))
    assert "Has no password and no link to choose one." in text(office.get("/office/people/"))
    shown = office.post(f"{page(ada)}invitation/", follow=True)
    first = address(ada)
    assert f'readonly value="{first}"' in shown.content.decode()
    words = "Invited: the link to choose a password opens once, until Tue 17 Mar 10:42. Has not signed in yet."
    assert words in text(shown)
    assert words in text(office.get("/office/people/"))
    Person.objects.filter(pk=ada.pk).update(invited_at=NOW - timedelta(hours=1))
    earlier = address(ada)
    assert "A new way in for Ada (this link stops opening)" in text(shown)
    shown = office.post(f"{page(ada)}invitation/", follow=True)
    assert address(ada) in shown.content.decode()
    assert earlier not in shown.content.decode()
    taken = office.post(f"{page(ada)}invitation/take-back/", follow=True)
    assert "The link of Ada no longer opens." in text(taken)
    assert "/letterbox/come-in/" not in taken.content.decode()
    assert Person.objects.get(pk=ada.pk).invited_at is None


@pytest.mark.parametrize(
    ("invited_at", "last_login", "password", "words"),
    [
        (NOW - timedelta(days=7), None, None, "The link to choose a password ran out at 10:42. Has not signed in yet."),
        (None, None, WORD, "Has not signed in yet."),
        (None, NOW, WORD, "Signed in last today."),
        (None, NOW - timedelta(days=1), WORD, "Signed in last on Mon 9 Mar."),
        (NOW, NOW - timedelta(days=1), WORD, "until Tue 17 Mar 10:42. Signed in last on Mon 9 Mar."),
    ],
)
def test_the_list_says_how_each_comes_in(
    office: Browser,
    ada: Person,
    invited_at: datetime | None,
    last_login: datetime | None,
    password: str | None,
    words: str,
) -> None:
    ada.set_password(password)
    ada.invited_at, ada.last_login = invited_at, last_login
    ada.save()
    assert words in text(office.get("/office/people/"))
    assert words in text(office.get(page(ada)))


def test_who_has_left_has_no_way_in(office: Browser, ada: Person) -> None:
    Person.objects.filter(pk=ada.pk).update(is_active=False, invited_at=NOW)
    shown = office.get(page(ada))
    assert "May not sign in any more." in text(shown)
    assert "/letterbox/come-in/" not in shown.content.decode()
    assert "Invite Ada" not in text(shown)
    assert "Let them first" in text(office.post(f"{page(ada)}invitation/", follow=True))


def test_a_letter_is_offered_where_letters_leave(office: Browser, ada: Person, settings: Settings) -> None:
    actions.invite(ada, by=None, now=NOW)
    send = f"{page(ada)}invitation/send/"
    assert "Send it to" not in text(office.get(page(ada)))
    assert "Copy the link and give it to them." in text(office.post(send, follow=True))
    settings.MAIL = env.MailServer("mail.example", 587, "", "", env.Tls.STARTTLS)
    assert f"Send it to {ada.email}" in text(office.get(page(ada)))
    assert f"is on its way to {ada.email}" in text(office.post(send, follow=True))
    assert Errand.objects.get(kind=Kind.INVITE).subject == str(ada.pk)


def test_the_way_in_of_who_may_see_more_is_not_shown(office: Browser, ada: Person) -> None:
    actions.let_look_at_record(ada, by=None, now=NOW)
    actions.invite(ada, by=None, now=NOW)
    shown = office.get(page(ada))
    assert "/letterbox/come-in/" not in shown.content.decode()
    assert "not yours to give" in text(shown)
    assert "not yours to give" in text(office.post(f"{page(ada)}invitation/", follow=True))
    refused = office.post(f"{page(ada)}password/", {"password": WORD, "again": WORD})
    assert refused.status_code == 422
    assert "not yours to give" in text(refused)


def test_a_lead_signs_somebody_out_everywhere(office: Browser, ada: Person, ines: Person) -> None:
    phones = [Browser(), Browser()]
    for phone in phones:
        phone.force_login(Person.objects.get(pk=ada.pk))
        assert phone.get("/bench/").status_code == 200
    assert "Sign Ada out everywhere?" in text(office.get(f"{page(ada)}sign-out/"))
    assert [phone.get("/bench/").status_code for phone in phones] == [200, 200]
    assert "Ada is signed out everywhere." in text(office.post(f"{page(ada)}sign-out/", follow=True))
    assert [phone.get("/bench/").status_code for phone in phones] == [302, 302]
    line = History.objects.filter(verb="ended sessions").get()
    assert (line.by, line.subject) == (ines, f"person {ada.pk}")


def test_a_lead_who_signs_themselves_out_everywhere_stays_here(office: Browser, ines: Person) -> None:
    elsewhere = Browser()
    elsewhere.force_login(ines)
    assert "signed out everywhere but here." in text(office.post(f"{page(ines)}sign-out/", follow=True))
    assert elsewhere.get("/office/people/").status_code == 302
    assert office.get("/office/people/").status_code == 200
