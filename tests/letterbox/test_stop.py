"""Ending letters without signing in: RFC 2369 for people, RFC 8058 for mail programs."""

from datetime import timedelta

import pytest
from django.test import Client

from studio.workshop import links
from studio.workshop.models import Errand, ErrandState, Job, Kind, Link, Notice, NoticeState
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text

pytestmark = pytest.mark.django_db


@pytest.fixture
def link() -> Link:
    return builders.link(builders.job())


def path(link: Link) -> str:
    return "/letterbox/stop/" + links.stop_address_for(link).split("/letterbox/stop/")[1]


def one_click(address: str, **headers: str) -> tuple[int, str]:
    """RFC 8058, section 8.1 (its example): a POST with the pair as form data, no cookie, no context."""
    browser = Client(enforce_csrf_checks=True)
    body = "List-Unsubscribe=One-Click"
    answer = browser.post(address, body, content_type="application/x-www-form-urlencoded", headers=headers)
    return answer.status_code, answer.content.decode()


def stopped(link: Link) -> bool:
    return Link.objects.get(pk=link.pk).letters_stopped_at is not None


def test_one_click_ends_them_without_a_redirect(link: Link) -> None:
    """Section 3.1: the receiver MUST NOT be redirected."""
    status, body = one_click(path(link))
    assert status == 200
    assert "No more letters about it will come." in body
    assert stopped(link)


def test_a_multipart_post_does_too(link: Link) -> None:
    """Section 3.2: the body may also be multipart/form-data."""
    answer = Client(enforce_csrf_checks=True).post(path(link), {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert stopped(link)


def test_looking_changes_nothing_however_often(link: Link) -> None:
    """Mail scanners open every address, and twice."""
    for _ in range(2):
        for method in ("get", "head"):
            answer = getattr(Client(), method)(path(link))
            assert answer.status_code == 200
            assert not answer.cookies
    assert not stopped(link)
    assert "No more letters about it" in text(Client().get(path(link)))


def test_what_has_not_left_stays_and_what_comes_later_is_not_owed(link: Link) -> None:
    builders.log_done(builders.stage(link.job), photo=False)
    one_click(path(link))
    assert Notice.objects.get().state == NoticeState.WITHDRAWN
    assert not Errand.objects.filter(kind=Kind.SEND_LETTER).exclude(state=ErrandState.DONE).exists()
    builders.log_done(builders.stage(link.job, "mould"), photo=False, now=NOW + timedelta(hours=1))
    assert Notice.objects.count() == 1


def test_another_reader_of_the_job_still_gets_them(link: Link) -> None:
    other = builders.link(link.job, "Tom")
    one_click(path(link))
    assert not stopped(other)
    builders.log_done(builders.stage(link.job), photo=False)
    assert Notice.objects.get().contact == other.contact


def test_they_come_again_when_asked_for(link: Link) -> None:
    one_click(path(link))
    answer = Client(enforce_csrf_checks=True).post(path(link), {"letters": "again"})
    assert answer.status_code == 200
    assert not stopped(link)
    builders.log_done(builders.stage(link.job), photo=False)
    assert Notice.objects.get().state == NoticeState.GOING


def test_it_works_late_and_from_an_old_letter(link: Link) -> None:
    """After the link was revoked, given anew, or has expired: a wish to hear no more holds."""
    address = path(link)
    Link.objects.update(revoked_at=NOW, version=3, expires_on=NOW.date() - timedelta(days=9))
    assert one_click(address)[0] == 200
    assert stopped(link)


def test_nobody_else_can_end_them(link: Link) -> None:
    token = path(link).split("/")[-2]
    public_id, _, signature = token.partition(".")
    page = links.token_for(link)
    wrong = [page, f"{public_id}.{'A' * 24}", f"zzzzzzzzzz.{signature}", token[:-1], "x", "%00", "é", "a" * 4000]
    answers = {one_click(f"/letterbox/stop/{other}/") for other in wrong}
    assert {status for status, _ in answers} == {404}
    assert len(answers) == 1
    assert not stopped(link)


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
def test_the_clients_page_leads_there_and_says_how_it_stands(link: Link) -> None:
    page = Client().get(links.path_for(link)).content.decode()
    assert f'<a href="{path(link)}">No more letters about it</a>' in page
    one_click(path(link))
    page = Client().get(links.path_for(link)).content.decode()
    assert f'You asked for no more letters about it. <a href="{path(link)}">Send them again</a>' in page


def test_the_token_of_letters_does_not_open_the_page(link: Link) -> None:
    assert links.link_for(path(link).split("/")[-2], NOW.date()) is None


def test_the_office_reads_who_asked_for_it(link: Link) -> None:
    one_click(path(link))
    browser = Client()
    browser.force_login(builders.lead())
    said = text(browser.get(f"/office/jobs/{Job.objects.get().pk}/"))
    assert "Priya asked for no more letters." in said
