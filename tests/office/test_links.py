"""How long a link opens is the lead's to say, and how it stands is said in words."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.links import link_for, token_for
from studio.workshop.models import History, Link, Person
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text

TODAY = NOW.date()  # Tue 10 Mar 2026


@pytest.fixture
def link(ines: Person) -> Link:
    return builders.link(builders.job())


def job_page(office: Browser, link: Link) -> str:
    return text(office.get(f"/office/jobs/{link.job_id}/"))


def say(office: Browser, link: Link, day: str, was: str = "") -> tuple[int, str]:
    answer = office.post(f"/office/links/{link.pk}/", {"expires_on": day, "was": was}, follow=True)
    return answer.status_code, text(answer)


@pytest.mark.parametrize(
    ("expires_on", "opened_on", "words"),
    [
        (None, None, "The link opens until you revoke it. Nobody has opened it yet."),
        (None, TODAY, "The link opens until you revoke it. The page was opened last on Tue 10 Mar."),
        (date(2026, 4, 3), None, "The link opens until the end of Fri 3 Apr. Nobody has opened it yet."),
        (TODAY, date(2026, 3, 2), "The link opens until the end of today. The page was opened last on Mon 2 Mar."),
        (date(2026, 3, 9), None, "The link no longer opens: its last day was Mon 9 Mar. Nobody has opened it yet."),
        (date(2027, 6, 1), None, "The link opens until the end of Tue 1 Jun 2027."),
    ],
)
def test_the_job_says_how_each_link_stands(
    office: Browser, link: Link, expires_on: date | None, opened_on: date | None, words: str
) -> None:
    Link.objects.update(expires_on=expires_on, opened_on=opened_on)
    assert words in job_page(office, link)
    assert words in text(office.get(f"/office/links/{link.pk}/"))


def test_who_asked_for_no_more_letters_is_named(office: Browser, link: Link) -> None:
    assert "no more letters" not in job_page(office, link)
    Link.objects.update(letters_stopped_at=NOW.replace(hour=23, minute=30))
    words = "Priya asked for no more letters on Tue 10 Mar."
    assert words in job_page(office, link)
    assert words in text(office.get(f"/office/links/{link.pk}/"))
    actions.revoke_link(link, by=builders.lead(), now=NOW)
    assert words in job_page(office, link)


def test_the_lead_says_the_last_day_and_takes_it_away_again(office: Browser, link: Link) -> None:
    token = token_for(link)
    status, words = say(office, link, "2026-04-03")
    assert status == 200
    assert "The link opens until the end of Fri 3 Apr." in words
    assert "Ines said until when the link of Priya opens." in words
    assert link_for(token, date(2026, 4, 3)) == link
    assert link_for(token, date(2026, 4, 4)) is None
    assert "The link opens until you revoke it." in say(office, link, "", "2026-04-03")[1]
    assert link_for(token, date(2026, 4, 4)) == link
    assert History.objects.filter(verb="changed link", job=link.job).count() == 2


def test_saying_the_same_day_again_is_no_news(office: Browser, link: Link) -> None:
    Link.objects.update(expires_on=TODAY - timedelta(days=1))
    assert say(office, link, "2026-03-09", "2026-03-09")[0] == 200
    assert not History.objects.filter(verb="changed link").exists()


def test_a_link_that_is_over_hides_its_address_and_can_be_opened_again(office: Browser, link: Link) -> None:
    token = token_for(link)
    assert token in office.get(f"/office/jobs/{link.job_id}/").content.decode()
    Link.objects.update(expires_on=TODAY - timedelta(days=1))
    page = office.get(f"/office/jobs/{link.job_id}/").content.decode()
    assert token not in page
    assert "Let it open again" in page
    assert f'href="/office/links/{link.pk}/"' in page
    words = text(office.get(f"/office/links/{link.pk}/"))
    assert "Nobody has opened it yet. Write a later day, or none, and it opens again." in words
    assert "The link opens until the end of today." in say(office, link, "2026-03-10", "2026-03-09")[1]
    assert link_for(token, TODAY) == link


@pytest.mark.parametrize("day", ["2026-03-09", "1999-12-31", "31 February", "\0"])
def test_a_day_that_cannot_be_the_last_is_refused_in_a_sentence(office: Browser, link: Link, day: str) -> None:
    status, words = say(office, link, day)
    assert status == 422
    expected = "That day is over." if day == "2026-03-09" else "Write "
    assert expected in words
    assert Link.objects.get().expires_on is None


def test_two_leads_at_once_see_both_days(office: Browser, link: Link) -> None:
    actions.change_link(link, expires_on=date(2026, 5, 1), was=None, by=builders.lead("Greta"), now=NOW)
    status, words = say(office, link, "2026-04-03")
    assert status == 409
    assert "Both texts are below" in words
    assert "as Greta left it" in words
    assert "Fri 1 May 2026" in words
    answer = office.post(f"/office/links/{link.pk}/", {"expires_on": "2026-04-03", "was": ""})
    assert b'name="was" value="2026-05-01"' in answer.content
    assert say(office, link, "2026-04-03", "2026-05-01")[0] == 200
    assert Link.objects.get().expires_on == date(2026, 4, 3)


def test_one_is_changed_or_revoked_without_the_others(office: Browser, link: Link) -> None:
    other = builders.link(link.job, "Otto")
    before = Link.objects.values().get(pk=other.pk)
    say(office, link, "2026-04-03")
    actions.revoke_link(link, by=builders.lead(), now=NOW)
    assert Link.objects.values().get(pk=other.pk) == before
    assert link_for(token_for(other), TODAY) == other


def test_a_revoked_link_has_no_last_day_to_say(office: Browser, link: Link) -> None:
    actions.revoke_link(link, by=builders.lead(), now=NOW)
    words = "The link of Priya was revoked. Give a new one below."
    assert words in text(office.get(f"/office/links/{link.pk}/", follow=True))
    assert words in say(office, link, "2026-04-03")[1]
    with pytest.raises(actions.Refused, match="revoked"):
        actions.change_link(link, expires_on=TODAY, was=None, by=builders.lead(), now=NOW)
    assert Link.objects.get().expires_on is None


def test_a_new_link_begins_anew_but_who_wants_no_letters_is_left_in_peace(link: Link) -> None:
    yesterday = TODAY - timedelta(days=1)
    Link.objects.update(expires_on=yesterday, opened_on=yesterday, letters_stopped_at=NOW)
    actions.revoke_link(link, by=builders.lead(), now=NOW)
    anew = actions.give_link(link.contact, link.job, by=builders.lead(), now=NOW)
    assert (anew.expires_on, anew.opened_on, anew.letters_stopped_at) == (None, None, NOW)
    assert link_for(token_for(anew), TODAY) == anew
