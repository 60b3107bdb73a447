"""Looking at a client's page: as its HTML, and as it is read."""

import re
from html import unescape
from uuid import uuid4

import time_machine
from django.test import Client

from studio.workshop import actions
from studio.workshop.links import path_for
from studio.workshop.models import Link, Says, Stage
from tests import builders
from tests.conftest import NOW


def look(link: Link, at: object = NOW) -> str:
    with time_machine.travel(at, tick=False):  # type: ignore[arg-type]
        response = Client().get(path_for(link))
    assert response.status_code == 200
    return response.content.decode()


def words_of(page: str) -> str:
    """The text as it is read, in one line."""
    body = page[page.index("<body>") :]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


def in_order(text: str, *parts: str) -> None:
    places = [text.index(part) for part in parts]
    assert places == sorted(places), list(zip(parts, places, strict=True))


def add_photos(stage: Stage, count: int, sentence: str = "", first: int = 0) -> None:
    """One entry with this many photos, each a little different from all others."""
    photos = [kept for n in range(count) for kept in builders.kept(builders.jpeg(size=(64 + first + n, 48)))]
    actions.log_at_bench(
        entry_id=uuid4(),
        stage=stage,
        says=Says.PHOTO,
        photos=photos,
        sentence=sentence,
        by=builders.person("Ada"),
        now=NOW,
    )
    builders.work()
