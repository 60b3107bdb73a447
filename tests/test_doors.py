"""A client's address opens that client's page and photos, for looking; whatever is wrong with it, the answer is one."""

import re
from collections.abc import Iterator
from datetime import timedelta
from urllib.parse import quote

import pytest
import time_machine
from django.db import connections
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.links import token_for
from studio.workshop.models import Link, Photo, Rendition
from studio.workshop.storage import rendition_path
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])

ROUTES = doors.routes("with/")
EVERY_ROUTE = pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.path)
# Behind each of these is something; the one that is left takes every other address, and opens for nobody.
EVERY_DOOR = pytest.mark.parametrize(
    "route", [route for route in ROUTES if route.name != "client-nowhere"], ids=lambda route: route.path
)
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
    assert {route.name for route in ROUTES} >= {"client-job", "client-photo", "client-nowhere"}
    assert all(route.arguments[:1] == ["token"] for route in ROUTES)


@EVERY_DOOR
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


@EVERY_DOOR
@pytest.mark.parametrize("method", OTHER_METHODS)
def test_it_is_for_looking_only(
    route: doors.Route, method: str, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    things = doors.things()
    assert ask(route.address(things), method).status_code == 405
    assert said(ask(route.address(things | {"token": UNKNOWN}), method)) == closed_door
    if method not in ("OPTIONS", "TRACE"):  # as a browser would send it, without the secret that no form here holds
        assert said(ask(route.address(things), method, csrf=True)) == closed_door


def failures(route: doors.Route) -> Iterator[tuple[str, str]]:
    """Each way in which an address of this route may not open, by name, all against one and the same studio."""
    things = doors.things()
    token = str(things["token"])
    public_id, _, signature = token.partition(".")
    job = Link.objects.get().job
    other = builders.link(builders.job("Ammonite", client="Harbour Museum"), "Lena")
    gone, over = builders.link(job, "Otto"), builders.link(job, "Edda")
    gone_token, over_token = token_for(gone), token_for(over)
    actions.revoke_link(gone, by=builders.lead(), now=NOW)
    Link.objects.filter(pk=over.pk).update(expires_on=NOW.date() - timedelta(days=1))
    hidden = Photo.objects.get(entry=builders.log_done(builders.stage(other.job), content=builders.jpeg("teal")))
    builders.work(NOW)
    Photo.objects.filter(pk=hidden.pk).update(released_at=None)
    tokens = {
        "unknown": UNKNOWN,
        "forged": f"{public_id}.{'A' * 24}",
        "another's signature": f"{other.public_id}.{signature}",
        "revoked": gone_token,
        "expired": over_token,
        "malformed": "nothing-like-it",
        "empty of signature": f"{public_id}.",
        "odd": "a%00b.%C3%A9",
    }
    for name, wrong in tokens.items():
        yield name, route.address(things | {"token": wrong})
    if "sha256" in route.arguments:
        not_shown = Rendition.objects.get(photo=hidden, edge=960).sha256
        yield "another's photo", route.address(things | {"token": token_for(other)})
        yield "not shown", route.address({"token": token_for(other), "sha256": not_shown})
        yield "no photo", route.address(things | {"sha256": "0" * 64})
        yield "no name", route.address(things | {"sha256": "%00x"})
    if "rest" in route.arguments:
        yield "good", route.address(things)


@EVERY_ROUTE
def test_every_failure_asks_the_same_of_the_database(
    route: doors.Route, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    """What is looked for differs, how is the same: neither the answer nor its time tells one failure from another."""
    asked = {}
    for name, address in failures(route):
        with (
            CaptureQueriesContext(connections["portal"]) as portal,
            CaptureQueriesContext(connections["default"]) as own,
        ):
            assert said(ask(address)) == closed_door, name
        assert len(own) == 0, name
        asked[name] = tuple(re.sub(r"'[^']*'|\b\d+\b", "?", query["sql"]) for query in portal.captured_queries)
    assert len(asked) >= 8
    assert len(set(asked.values())) == 1, asked
    assert len(asked["unknown"]) == (3 if "sha256" in route.arguments else 2)


@pytest.mark.parametrize(
    "given",
    [
        "bytes=0-99",
        "bytes=-1",
        "bytes=0-0,5-",
        "bytes=99999999-",
        "bytes=5-2",
        "bytes=",
        "bytes=x-y",
        "lines=1-2",
        "bytes=" + "0-1," * 3000,
        "\xff",
    ],
)
def test_who_asks_for_a_part_of_a_photo_gets_all_of_it(given: str) -> None:
    """RFC 9110, section 14.2: a server may ignore the Range header field."""
    things = doors.things()
    whole = rendition_path(str(things["sha256"])).read_bytes()
    part = Client().get(f"/with/{things['token']}/{things['sha256']}.jpg", headers={"Range": given})
    assert (part.status_code, part.getvalue()) == (200, whole)
    assert part.headers["Content-Length"] == str(len(whole))
    assert "Content-Range" not in part.headers


@EVERY_DOOR
def test_head_says_what_get_would(route: doors.Route) -> None:
    """RFC 9110, section 9.3.2."""
    address = route.address(doors.things())
    full, bare = ask(address), ask(address, "HEAD")
    assert full.headers["Content-Length"] == bare.headers["Content-Length"]
    assert dict(full.headers.items()) == dict(bare.headers.items())


def test_a_photo_that_is_there_already_is_not_sent_again() -> None:
    """RFC 9110, sections 13.1.2 and 15.4.5."""
    things = doors.things()
    address = f"/with/{things['token']}/{things['sha256']}.jpg"
    tag = f'"{things["sha256"]}"'
    for given in (tag, f'"other", W/{tag}', "*"):
        kept = Client().get(address, headers={"If-None-Match": given})
        assert (kept.status_code, kept.getvalue(), kept.headers["ETag"]) == (304, b"", tag)
        assert kept.headers["Cache-Control"] == "private, max-age=604800, immutable"
    anew = Client().get(address, headers={"If-None-Match": '"other"'})
    assert anew.status_code == 200
    anew.close()


@pytest.mark.parametrize("method", ["GET", *OTHER_METHODS])
def test_where_nothing_is_a_good_token_is_like_any_other(
    method: str, closed_door: tuple[int, bytes, dict[str, str]]
) -> None:
    token = doors.things()["token"]
    assert said(ask(f"/with/{token}/nowhere/at/all/", method)) == closed_door


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
