"""A client's address opens that client's page and photos, for looking; whatever is wrong with it, the answer is one."""

from datetime import timedelta
from urllib.parse import quote

import pytest
import time_machine
from django.http import HttpResponse
from django.test import Client

from studio.workshop import actions
from studio.workshop.links import token_for
from studio.workshop.models import Link
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])

ROUTES = doors.routes("with/")
EVERY_ROUTE = pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.path)
LOOKING = ("GET", "HEAD")
OTHER_METHODS = ("POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE")
UNKNOWN = "zzzzzzzzzz.AAAAAAAAAAAAAAAAAAAAAAAA"
ODD = (
    "",
    " ",
    ".",
    "..",
    "%00",
    "a\x00b.AAAAAAAAAAAAAAAAAAAAAAAA",
    "a\nb",
    "zzzzzzzzzz.AAAAAAAAAAAAAAAAAAAAAAAA\n",
    "zzzzzzzzzz.éééééééééééééééééééééééé",
    "𝟘" * 10 + ".AAAAAAAAAAAAAAAAAAAAAAAA",
    "' OR 1=1 --",
    "<script>",
    "../../office",
    "\udcff",
    "zzzzzzzzzz",
    "zzzzzzzzzz.",
    ".AAAAAAAAAAAAAAAAAAAAAAAA",
    "z" * 5000 + ".AAAAAAAAAAAAAAAAAAAAAAAA",
)


def ask(address: str, method: str = "GET", *, csrf: bool = False) -> HttpResponse:
    with time_machine.travel(NOW, tick=False):
        response = Client(enforce_csrf_checks=csrf).generic(method, address)
    response.close()
    return response  # type: ignore[return-value]


def said(response: HttpResponse) -> tuple[int, bytes, dict[str, str]]:
    headers = {name: value for name, value in response.headers.items() if name != "Date"}
    return response.status_code, response.content, headers


@pytest.fixture
def closed_door() -> tuple[int, bytes, dict[str, str]]:
    answer = said(ask(f"/with/{UNKNOWN}/"))
    assert answer[0] == 404
    assert b"This link no longer opens." in answer[1]
    return answer


@pytest.mark.once
def test_the_client_has_doors_at_all() -> None:
    assert {route.name for route in ROUTES} >= {"client-job", "client-photo"}
    assert all(route.arguments[:1] == ["token"] for route in ROUTES)


@EVERY_ROUTE
def test_the_rightful_one_comes_in(route: doors.Route) -> None:
    address = route.address(doors.things())
    for method in LOOKING:
        assert ask(address, method).status_code == 200


@EVERY_ROUTE
def test_nobody_else_does_and_nobody_learns_why(
    route: doors.Route, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    things = doors.things()
    token = str(things["token"])
    public_id, _, signature = token.partition(".")
    wrong = [UNKNOWN, f"{public_id}.{'A' * 24}", f"zzzzzzzzzz.{signature}", token.upper(), token[:-1], token + "A"]
    for other in (*wrong, *(quote(text, safe="%", errors="surrogateescape") for text in ODD)):
        assert said(ask(route.address(things | {"token": other}))) == closed_door, other


@EVERY_ROUTE
@pytest.mark.parametrize("how", ["revoked", "expired", "given anew"])
def test_a_link_that_has_ended_is_like_one_that_never_was(
    route: doors.Route, how: str, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    address = route.address(doors.things())
    link = Link.objects.get()
    if how == "expired":
        Link.objects.update(expires_on=NOW.date() - timedelta(days=1))
    else:
        actions.revoke_link(link, by=builders.lead(), now=NOW)
    if how == "given anew":
        anew = actions.give_link(link.contact, link.job, by=builders.lead(), now=NOW)
        assert ask(f"/with/{token_for(anew)}/").status_code == 200
    assert said(ask(address)) == closed_door


@EVERY_ROUTE
def test_another_clients_key_opens_nothing_of_this_job(
    route: doors.Route, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    """Of a page they see their own; of a thing in this job, by its address, nothing."""
    things = doors.things()
    other = builders.link(builders.job("Ammonite", client="Harbour Museum"), "Lena")
    response = ask(route.address(things | {"token": token_for(other)}))
    if set(route.arguments) == {"token"}:
        assert response.status_code == 200
        assert b"watering can" not in response.content
        assert b"Wharfside" not in response.content
        assert str(things["sha256"]).encode() not in response.content
    else:
        assert said(response) == closed_door


@EVERY_ROUTE
@pytest.mark.parametrize("method", OTHER_METHODS)
def test_it_is_for_looking_only(
    route: doors.Route, method: str, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    things = doors.things()
    assert ask(route.address(things), method).status_code == 405
    assert said(ask(route.address(things | {"token": UNKNOWN}), method)) == closed_door
    if method not in ("OPTIONS", "TRACE"):  # as a browser would send it, without the secret that no form here holds
        assert said(ask(route.address(things), method, csrf=True)) == closed_door


@pytest.mark.parametrize("token", ["good", "revoked", "unknown"])
def test_a_slash_left_out_tells_nothing(token: str) -> None:
    good = str(doors.things()["token"])
    if token == "revoked":
        Link.objects.update(revoked_at=NOW)
    response = ask(f"/with/{UNKNOWN if token == 'unknown' else good}")
    assert response.status_code == 301


def test_an_address_that_leads_nowhere_is_the_same(closed_door: tuple[int, bytes, dict[str, str]]) -> None:
    token = doors.things()["token"]
    for address in ("/with/", f"/with/{token}/original/", f"/with/{token}/{'0' * 64}.jpg", f"/with/{token}/x.jpg"):
        assert said(ask(address)) == closed_door
