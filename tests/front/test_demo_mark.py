"""Every page of the demo says that it is one."""

from itertools import product

import pytest
import time_machine
from django.test import Client

from studio.workshop.models import Person, Studio
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])

WORDS = "This is the demo studio. Nothing here is real."
BARE = {
    "office/letters/<letter_id>/html/",  # a letter, as it leaves
    "office/notices/<notice_id>/html/",
    "with/<token>/<rest>",  # a closed door, which tells nothing of the studio
}


def test_every_page_says_so() -> None:
    things, lead = doors.things(), Client()
    lead.force_login(Person.objects.filter(name="Ines").first() or builders.lead())
    Studio.objects.update(demo=True)
    said: dict[str, bool] = {}
    for route, visitor in product(doors.routes(), (Client(), lead)):
        if route.path.startswith("admin/") or route.path in BARE:
            continue
        with time_machine.travel(NOW, tick=False):
            answer = visitor.get(route.address(things))
        page = b"".join(answer) if answer.streaming else answer.content
        if b"<html" in page:
            said[route.path] = said.get(route.path, True) and WORDS in page.decode()
    assert [path for path, marked in said.items() if not marked] == []
    assert {"sign-in/", "bench/", "office/", "with/<token>/"} <= said.keys()
    assert len(said) > 40
