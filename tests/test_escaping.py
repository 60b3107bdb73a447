"""What somebody writes stays words on every page: it never becomes a part of the page."""

from html.parser import HTMLParser
from itertools import product

import pytest
import time_machine
from django.apps import apps
from django.db.models import CharField, F, Model, TextField, Value
from django.db.models.functions import Concat, Left
from django.test import Client

from studio.workshop.models import Person
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])

PLANT = """<i data-planted hx-get=/x>&'\""""
# Written by machines, or held to a form of their own.
NO_WORDS = {
    "country", "email", "error", "hours", "key", "needs", "original_sha256", "original_type",
    "password", "public_id", "reason", "region", "says", "server", "session_round", "sha256", "state", "subject",
    "time_zone", "verb",
}  # fmt: skip


class Looks(HTMLParser):
    """``grown``: what was planted and became an element. ``wired``: an element asks the server by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.grown = self.wired = self.has_htmx = False

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        names = dict(attributes)
        self.grown |= "data-planted" in names
        self.wired |= any(name.startswith("hx-") for name in names)
        self.has_htmx |= tag == "script" and "htmx" in (names.get("src") or "")


def plant() -> set[str]:
    """Puts it behind all that people may write."""
    planted = set()
    for model in apps.get_app_config("workshop").get_models():
        for field in model._meta.get_fields():
            if isinstance(field, CharField | TextField) and not field.choices and field.name not in NO_WORDS:
                put(model, field)
                planted.add(f"{model._meta.model_name}.{field.name}")
    return planted


def put(model: type[Model], field: "CharField[str, str] | TextField[str, str]") -> None:
    room = (field.max_length or 1000) - len(PLANT)
    rows = model._default_manager.exclude(**{field.name: ""})
    rows.update(**{field.name: Concat(Left(F(field.name), room), Value(PLANT))})


def test_nothing_that_is_written_becomes_a_part_of_a_page() -> None:
    things, lead = doors.things("mine"), Client()
    lead.force_login(Person.objects.filter(name="Ines").first() or builders.lead())
    planted = plant()
    assert {"job.name", "entry.sentence", "person.name", "piece.note", "confirmation.words", "studio.name"} <= planted
    seen, wired = set(), set()
    for route, visitor in product(doors.routes(), (Client(), lead)):
        with time_machine.travel(NOW, tick=False):
            answer = visitor.get(route.address(things))
        page = (b"".join(answer) if answer.streaming else answer.content).decode(errors="ignore")
        if "<html" not in page:
            continue
        looks = Looks()
        looks.feed(page)
        assert not looks.grown, route.path
        assert not looks.wired or looks.has_htmx, route.path
        seen |= {route.path} if "data-planted" in page else set()
        wired |= {route.path} if looks.has_htmx else set()
    assert len(seen) > 50
    assert {"office/notices/<notice_id>/", "office/notices/<notice_id>/html/", "with/<token>/"} <= seen
    # Where it is not needed, it is not there either: it would do what attributes say, whoever wrote them.
    assert len(wired) < 8
    assert "office/notices/<notice_id>/" not in wired
