"""More of the same, for pages that list; and what workers would have done by a given hour."""

import re
from datetime import datetime
from html import unescape
from typing import Protocol

from studio.workshop import duties, errands
from studio.workshop.models import Entry, Errand, ErrandState, Kind, Photo, Release, Stage
from tests import builders
from tests.conftest import NOW

CAN = "Talking watering can"


class Answer(Protocol):
    content: bytes


def run_due(at: datetime = NOW) -> None:
    for _ in range(5):
        for errand in Errand.objects.filter(state=ErrandState.WAITING, due_at__lte=at):
            duties.run(errand.pk, lambda: at)


def look(name: str = CAN, kind: str = "carving", photos: int = 1) -> Entry:
    """A stage of a job that is done, with a developed photo that waits for the lead, and one contact who is owed word."""
    job = builders.job(name, client=f"Client of {name}", release=Release.LOOKED)
    builders.link(job)
    entry = builders.log_done(builders.stage(job, kind), content=builders.jpeg("red"))
    if photos > 1:
        add_photo(entry.stage)
    run_due()
    return entry


def add_photo(stage: Stage, colour: str = "blue") -> None:
    """One more to the entry of a stage that is done."""
    entry = Entry.objects.get(stage=stage)
    (kept,) = builders.kept(builders.jpeg(colour))
    photo = Photo.objects.create(
        entry=entry,
        stage=stage,
        original_sha256=kept.sha256,
        original_type=kept.type,
        original_bytes=kept.size_bytes,
        at=NOW,
    )
    errands.ask(Kind.DEVELOP_PHOTO, str(photo.pk), due_at=NOW, now=NOW)


def text(response: Answer) -> str:
    """What a person reads: no tags, no style, one space between words."""
    html = response.content.decode()
    html = re.sub(r"<(style|script)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def version(response: Answer) -> str:
    found = re.search(r'name="version" value="(\d+)"', response.content.decode())
    assert found, "the form carries no version"
    return found[1]


def title(response: Answer) -> str:
    found = re.search(r"<title>(.*?)</title>", response.content.decode(), re.DOTALL)
    return unescape(found[1]) if found else ""
