"""Only leads get in, by every address that the office has."""

from uuid import uuid4

import pytest
from django.test import Client as Browser
from django.urls import URLPattern, reverse

from studio.office.urls import urlpatterns
from studio.workshop.models import Person

ROUTES = [pattern for pattern in urlpatterns if isinstance(pattern, URLPattern)]


def address(route: URLPattern) -> str:
    """Made from the route's own converters, so that a new route is tested by itself."""
    some = {"IntConverter": 1, "UUIDConverter": uuid4()}
    values = {name: some[type(converter).__name__] for name, converter in route.pattern.converters.items()}
    return reverse(str(route.name), kwargs=values)


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
@pytest.mark.parametrize("method", ["get", "post"])
def test_nobody_is_sent_to_sign_in_and_others_are_refused(
    route: URLPattern, method: str, ines: Person, ada: Person, kit: Person
) -> None:
    nobody = getattr(Browser(), method)(address(route))
    assert nobody.status_code == 302
    assert nobody.headers["Location"].startswith("/sign-in/")
    for person in (ada, kit):
        browser = Browser()
        browser.force_login(person)
        assert getattr(browser, method)(address(route)).status_code == 403


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
def test_a_lead_is_never_refused_and_never_breaks_it(route: URLPattern, office: Browser) -> None:
    for method in ("get", "post"):
        assert getattr(office, method)(address(route)).status_code in {200, 302, 404, 405, 409, 422}


def test_every_form_of_the_office_is_guarded_against_forgery(ines: Person) -> None:
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(ines)
    assert [route.name for route in ROUTES if browser.post(address(route)).status_code != 403] == []
