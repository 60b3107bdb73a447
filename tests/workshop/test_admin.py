"""The raw record: everything can be looked at, and nothing changed, nor anything guessed that is hidden."""

import re

import pytest
from django.apps import apps
from django.test import Client
from django.urls import Resolver404, resolve

from studio.workshop.models import Link, Person
from tests import builders, doors
from tests.measure import intruders

pytestmark = pytest.mark.django_db
MODELS = list(apps.get_app_config("workshop").get_models())
ROUTES = doors.routes("admin/")


@pytest.fixture
def sol() -> Client:
    person = builders.person("Sol")
    person.set_password("a lump of wet plaster")
    person.is_superuser = True
    person.save()
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def things() -> dict[str, object]:
    return doors.things()


def test_each_model_has_a_list_and_a_page_and_there_is_nothing_else() -> None:
    """What signs in, changes a password, adds, deletes or completes has no address."""
    pages = {f"workshop_{model._meta.model_name}_{page}" for model in MODELS for page in ("changelist", "change")}
    assert {route.name for route in ROUTES} == {"index", "app_list", "jsi18n", *pages}
    for gone in ("login", "logout", "password_change", "autocomplete", "workshop/person/add", "workshop/job/1/delete"):
        with pytest.raises(Resolver404):
            resolve(f"/admin/{gone}/")


def test_every_page_shows_and_none_writes(sol: Client, things: dict[str, object]) -> None:
    before = intruders.record()
    for route in ROUTES:
        address = route.address(things)
        assert sol.get(address).status_code == 200, address
        for method in ("POST", "PUT", "PATCH", "DELETE"):
            answer = sol.generic(method, address, "_save=1&name=Changed", "application/x-www-form-urlencoded")
            assert answer.status_code == 405, f"{method} {address}"
    assert intruders.written(before, intruders.record()) == []


def test_no_page_has_a_field_to_fill_in_or_a_button_that_sends(sol: Client, things: dict[str, object]) -> None:
    for route in ROUTES:
        page = sol.get(route.address(things)).content.decode()
        fields = re.findall(r"<(?:input|select|textarea|button)[^>]*>", page)
        assert [field for field in fields if 'type="hidden" name="csrfmiddlewaretoken"' not in field] == [], route.path


def test_password_and_the_public_half_of_a_link_stand_nowhere(sol: Client, things: dict[str, object]) -> None:
    pages = [sol.get(route.address(things)).content.decode() for route in ROUTES]
    assert any("priya@" in page.lower() for page in pages)  # they do hold the record
    for page in pages:
        assert "argon2" not in page
        assert Link.objects.get().public_id not in page


@pytest.mark.parametrize(
    "asked",
    [
        "person/?password__startswith=argon2",
        "link/?public_id__startswith=a",
        "link/?_to_field=public_id",
        "person/?x=1",
    ],
)
def test_what_is_hidden_cannot_be_guessed_by_asking(sol: Client, asked: str) -> None:
    assert sol.get(f"/admin/workshop/{asked}").status_code in {302, 400}
    right, wrong = (sol.get(f"/admin/workshop/person/?password__startswith={start}") for start in ("argon2", "zzz"))
    assert (right.status_code, right.content) == (wrong.status_code, wrong.content)


def test_whoever_is_no_superuser_any_more_is_out_at_once(sol: Client) -> None:
    assert sol.get("/admin/").status_code == 200
    Person.objects.filter(name="Sol").update(is_superuser=False)
    assert sol.get("/admin/").status_code == 403
    Person.objects.filter(name="Sol").update(is_superuser=True, is_active=False)
    assert sol.get("/admin/").headers["Location"] == "/sign-in/?next=/admin/"


def test_the_way_in_is_the_studios_own(sol: Client) -> None:
    answer = Client().get("/admin/workshop/job/")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/sign-in/?next=/admin/workshop/job/")
    assert "no-store" in answer.headers["Cache-Control"]
