"""Who may open what, route by route: the doors of the bench, the office and the front."""

import pytest
import time_machine
from django.http import HttpResponse
from django.test import Client

from studio.workshop.models import Person, Role
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db

NOBODY, MAKER, PACKER, LEAD, SUPERUSER = "nobody", "maker", "packer", "lead", "superuser"
# Who may look at the raw record is no lead by that, nor the other way round.
ROLES = {
    NOBODY: None,
    MAKER: ("Ada", Role.MAKER),
    PACKER: ("Kit", Role.PACKER),
    LEAD: ("Ines", Role.LEAD),
    SUPERUSER: ("Sol", Role.MAKER),
}
# The longest beginning that fits counts. A route that none fits fails by its name.
WHO = {
    "admin/": (SUPERUSER,),
    "bench/": (MAKER, PACKER, LEAD, SUPERUSER),
    "office/": (LEAD,),
    "media/": (MAKER, PACKER, LEAD, SUPERUSER),
    "sign-in/": tuple(ROLES),
    "sign-out/": tuple(ROLES),
    "open/": tuple(ROLES),  # signed by this run of the demo, else nothing; see tests/front
    "letterbox/": tuple(ROLES),  # opened by a token; see tests/letterbox
    "light/": tuple(ROLES),
    "letterbox/password/": (MAKER, PACKER, LEAD, SUPERUSER),
    "letterbox/stop/": tuple(ROLES),
    "letterbox/come-in/": tuple(ROLES),  # whoever was invited; see tests/letterbox
    "healthz": tuple(ROLES),  # whoever is on this machine or has the key; see tests/front
    "metrics": tuple(ROLES),
    "robots.txt": tuple(ROLES),
}
ROUTES = [route for route in doors.routes() if not route.path.startswith("with/")]


def allowed(route: doors.Route) -> tuple[str, ...]:
    if route.path == "":
        return tuple(ROLES)
    fits = [beginning for beginning in WHO if route.path.startswith(beginning)]
    if not fits:
        pytest.fail(f"tests/test_doors_roles.py does not say who may open /{route.path}")
    return WHO[max(fits, key=len)]


def outcome(response: HttpResponse) -> str:
    response.getvalue()  # read to its end, so that a photo's file is closed
    if response.status_code in (302, 303) and response.headers["Location"].startswith("/sign-in/"):
        return "to sign-in"
    return {403: "refused", 405: "no such method"}.get(response.status_code, "in")


def come(role: str) -> Client:
    client = Client()
    who = ROLES[role]
    if who:
        person = Person.objects.filter(name=who[0]).first() or builders.person(*who)
        Person.objects.filter(pk=person.pk).update(is_superuser=role == SUPERUSER)
        client.force_login(person)
    return client


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize("route", ROUTES, ids=lambda route: "/" + route.path)
def test_each_door_opens_for_those_it_is_for(route: doors.Route, method: str) -> None:
    address = route.address(doors.things() | {"token": "x.y"})
    may = allowed(route)
    with time_machine.travel(NOW, tick=False):
        found = {role: outcome(come(role).generic(method, address)) for role in ROLES}  # type: ignore[arg-type]
    if "no such method" in found.values():  # then nobody gets in this way, and the other method is the door
        assert set(found.values()) <= {"no such method", "to sign-in", "refused"}
        assert all(found[role] == "no such method" for role in may if role != NOBODY)
        return
    if route.path in ("", "sign-out/"):  # both lead a stranger to the sign-in, and let nobody see anything
        assert found[NOBODY] == "to sign-in"
        return
    expected = {role: "in" if role in may else "to sign-in" if role == NOBODY else "refused" for role in ROLES}
    assert found == expected
