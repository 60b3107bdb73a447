import pytest
from django.http import HttpRequest
from django.test import Client, RequestFactory
from pytest_django import Settings

from studio.front import errors


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/odd/", 400, "could not be read"),
        ("/denied/", 403, "for the lead"),
        ("/nowhere/", 404, "nothing here"),
        ("/too-big/", 413, "too much at once"),
    ],
)
def test_each_error_says_what_happened(site: Client, address: str, status: int, words: str) -> None:
    response = site.get(address)
    body = response.content.decode()
    assert response.status_code == status
    assert "<title>Error: " in body
    assert words in body
    assert 'lang="en-gb"' in body.lower()


@pytest.mark.django_db
def test_a_form_without_its_secret_is_told_to_load_anew(settings: Settings) -> None:
    settings.ROOT_URLCONF = "tests.front.pages"
    response = Client(enforce_csrf_checks=True).post("/form/")
    assert response.status_code == 403
    assert "That form was open too long" in response.content.decode()


@pytest.mark.once
def test_the_500_page_needs_no_database(site: Client) -> None:
    """No database mark on this test, so asking for one would raise inside the handler."""
    response = site.get("/breaks/")
    assert response.status_code == 500
    assert "Something broke here" in response.content.decode()


@pytest.mark.once
def test_the_500_page_needs_no_templates(settings: Settings) -> None:
    settings.TEMPLATES = []
    settings.MIDDLEWARE = []
    response = errors.server_error(HttpRequest())
    assert response.status_code == 500
    assert response.content.startswith(b"<!doctype html>")


@pytest.mark.once
def test_a_clients_address_that_does_not_open_says_one_thing_only(rf: RequestFactory) -> None:
    """Whatever is wrong with it, and without asking the database."""
    request = rf.post("/with/abc.def/")
    answers = [
        errors.link_not_open(request),
        errors.not_found(request),
        errors.forbidden(request),
        errors.csrf_failure(request),
        errors.bad_request(request),
        errors.link_not_open(rf.get("/with/other/")),
    ]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    body = answers[0].content.decode()
    assert "This link no longer opens." in body
    assert "Ask whoever sent it for a new one." in body


@pytest.mark.once
def test_a_post_to_a_clients_address_is_no_different(settings: Settings, rf: RequestFactory) -> None:
    settings.ROOT_URLCONF = "tests.front.pages"
    client = Client(enforce_csrf_checks=True)
    posted = client.post("/with/abc/form/")
    assert posted.status_code == 404
    assert posted.content == errors.link_not_open(rf.get("/with/other/")).content
