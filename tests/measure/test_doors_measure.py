"""The doors' own reckoning: it meets every route, and sees a door that was left open, whatever comes through it."""

from collections.abc import Callable, Sequence

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import include, path, re_path
from django.utils import timezone
from pytest_django import Settings

from studio.front.errors import link_not_open
from studio.urls import handler404
from studio.workshop import actions
from studio.workshop.models import Job, Person, Rendition, StageKind
from studio.workshop.storage import rendition_path
from tests import builders, doors
from tests.measure import doors as measure
from tests.measure import intruders
from tests.measure.intruders import Answered, Place
from tests.test_doors_roles import LEAD, NOBODY, SUPERUSER

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])


@pytest.fixture
def places(published: list[str]) -> list[Place]:
    return intruders.set_out(timezone.now())


@pytest.fixture
def browsers(places: list[Place]) -> dict[str, Client]:
    found = {who: Client() for who in (*intruders.INTRUDERS, intruders.CLIENT)}
    for role, email in intruders.STAFF.items():
        found[role].force_login(Person.objects.get(email=email))
    return found


class _Plant:
    """A URL conf in place of the studio's: its own addresses, with some views before them."""

    handler404 = handler404

    def __init__(self, *before: object) -> None:
        self.urlpatterns = [*before, path("", include("studio.urls"))]


@pytest.fixture
def tried(places: list[Place], browsers: dict[str, Client], settings: Settings) -> Callable[..., tuple[int, list[str]]]:
    """What the intruders find at the routes that begin so, with these views planted before the studio's."""

    def ask(who: str, method: str, address: str) -> Answered:
        response = browsers[who].generic(method, address)
        body = response.getvalue()
        return Answered(response.status_code, dict(response.headers.items()), body)

    def find(under: str, *before: object) -> tuple[int, list[str]]:
        settings.ROOT_URLCONF = _Plant(*before)
        routes = doors.routes(under)
        assert routes
        rows = intruders.record()
        count, leaks = intruders.leaks(intruders.tries(routes, places), ask)
        return count, leaks + intruders.written(rows, intruders.record())

    return find


def named(sentences: Sequence[str], what: str) -> list[str]:
    return [sentence for sentence in sentences if sentence.endswith(what)]


def test_where_every_door_is_shut_nothing_leaks(tried: Callable[..., tuple[int, list[str]]]) -> None:
    count, leaks = tried("with/")
    assert leaks == []
    assert count > 500
    count, leaks = tried("office/jobs/")
    assert leaks == []
    assert count > 300


def test_every_try_is_made_once(places: list[Place]) -> None:
    every = list(intruders.tries(doors.routes(), places))
    assert len(every) == len(set(every)) > 2000
    assert {one.route for one in every} >= {route.name for route in doors.routes("with/")}
    # Whoever may come in to a route is no intruder there, and it is for nobody else to say.
    assert {one.who for one in every if one.route == "office-job"} == set(intruders.INTRUDERS) - {LEAD}
    assert {one.who for one in every if one.route == "workshop_job_change"} == set(intruders.INTRUDERS) - {SUPERUSER}
    assert {one.who for one in every if one.route == "photo"} == {
        NOBODY,
        intruders.OTHER,
        intruders.REVOKED,
        intruders.EXPIRED,
    }
    names = {name for place in places for name in (*place.shown, *place.hidden)}
    asked = {one.address.rpartition("/")[2].removesuffix(".jpg") for one in every if one.route == "client-photo"}
    assert asked == names
    assert set(Rendition.objects.values_list("sha256", flat=True)) < names


def test_a_page_that_lets_anybody_in_is_a_leak(tried: Callable[..., tuple[int, list[str]]]) -> None:
    def unguarded(request: HttpRequest, job_id: int) -> HttpResponse:
        return HttpResponse(Job.objects.get(pk=job_id).name)

    count, leaks = tried("office/planted/", path("office/planted/<int:job_id>/", unguarded, name="planted"))
    assert count == (len(intruders.INTRUDERS) - 1) * len(intruders.METHODS) * 3
    assert len(leaks) >= count * 6 // 7  # of HEAD no body comes
    assert len(named(leaks, "shows qzavixon")) == count // 7 * 6 // 3


def test_a_refusal_that_says_too_much_is_a_leak(tried: Callable[..., tuple[int, list[str]]]) -> None:
    def talks(request: HttpRequest, token: str) -> HttpResponse:
        response = link_not_open(request)
        response.headers["X-Job"] = str(Job.objects.first())
        return response

    _, leaks = tried("with/<token>/planted/", path("with/<str:token>/planted/", talks, name="planted"))
    assert named(leaks, "shows qzavixon")


def test_a_refusal_that_differs_by_one_letter_is_a_leak(tried: Callable[..., tuple[int, list[str]]]) -> None:
    def differs(request: HttpRequest, token: str) -> HttpResponse:
        response = link_not_open(request)
        response.content += b"." if token.startswith("zzz") else b""
        return response

    _, leaks = tried("with/<token>/planted/", path("with/<str:token>/planted/", differs, name="planted"))
    assert named(leaks, "was answered with 404 where closed is right")


def test_a_photo_without_a_door_is_a_leak(tried: Callable[..., tuple[int, list[str]]], places: list[Place]) -> None:
    def serves(request: HttpRequest, sha256: str) -> HttpResponse:
        file = rendition_path(sha256)
        return HttpResponse(file.read_bytes() if file.exists() else b"", content_type="image/jpeg")

    _, leaks = tried("media/open/", re_path(r"^media/open/(?P<sha256>[0-9a-f]{64})$", serves, name="planted"))
    assert named(leaks, "shows a photo")


def test_a_row_that_is_written_is_a_leak(tried: Callable[..., tuple[int, list[str]]]) -> None:
    def writes(request: HttpRequest) -> HttpResponse:
        job = Job.objects.first()
        assert job
        if request.method == "POST":
            kind = StageKind.objects.get(name="carving")
            actions.add_stage(job.pieces.get(), kind=kind, by=builders.lead(), now=timezone.now())
        return HttpResponse(status=403)

    _, leaks = tried("office/planted/", path("office/planted/", writes, name="planted"))
    assert "rows of workshop.Stage were written" in leaks
    assert "rows of workshop.History were written" in leaks


def test_a_server_error_at_a_public_door_is_a_leak(tried: Callable[..., tuple[int, list[str]]]) -> None:
    def breaks(request: HttpRequest) -> HttpResponse:
        return HttpResponse(status=500)

    _, leaks = tried("light/planted", path("light/planted", breaks, name="planted"))
    assert leaks


def test_a_route_that_nobody_knows_fails_by_its_name(tried: Callable[..., tuple[int, list[str]]]) -> None:
    view = lambda request, **named: HttpResponse("in")  # noqa: E731
    with pytest.raises(pytest.fail.Exception, match="who may open /planted/"):
        tried("planted/", path("planted/", view))
    with pytest.raises(pytest.fail.Exception, match="what \\['thing'\\] of /office/<thing>/ may be"):
        tried("office/<thing>/", path("office/<thing>/", view))


def test_an_argument_may_mean_another_thing_at_one_route(places: list[Place]) -> None:
    route = doors.Route("letterbox/stop/<token>/", "stop")
    things = dict(places[0].things)
    assert route.address(things) == f"/letterbox/stop/{places[0].token}/"
    assert route.address(things | {"stop:token": "abc.def"}) == "/letterbox/stop/abc.def/"
    assert (
        doors.Route("with/<token>/", "client-job").address(things | {"stop:token": "x"}) == f"/with/{places[0].token}/"
    )


def test_who_is_shut_out_of_their_own_door_is_told(places: list[Place]) -> None:
    def ask(who: str, method: str, address: str) -> Answered:
        if "jobs" in address:
            return Answered(302, {"Location": "/sign-in/?next=/office/"}, b"")
        return Answered(405 if address == "/sign-out/" else 200, {}, b"")

    routes = [
        route for route in doors.routes() if route.name in {"office-job", "sign-out", "client-job", "client-photo"}
    ]
    count, shut = intruders.not_let_in(intruders.rightful(routes, places), ask)
    assert len(shut) == 2 * 3  # GET and HEAD, of three jobs
    assert all(sentence.startswith("lead, ") and sentence.endswith("answered with 302") for sentence in shut)
    shown = sum(len(place.shown) for place in places)
    assert count == 2 * (3 + 3 + shown)


@pytest.mark.once
def test_the_spread_is_of_the_quickest() -> None:
    assert measure.spread([2.0, 2.4, 2.1]) == pytest.approx(0.2)
    assert measure.spread([3.0]) == 0
