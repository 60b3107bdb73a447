"""Somebody at the bench, and what they send."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from studio.workshop import duties
from studio.workshop.models import Errand, ErrandState, Stage
from tests import builders
from tests.conftest import NOW

FILM = b"\0\0\0\x18ftypmp42" + b"\0" * 52  # a film's first bytes: ISO/IEC 14496-12, brand mp42


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    """Every view reads 10:42 on a Tuesday in March, when London keeps UTC."""
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def ada(client: Client, db: None, published: list[str], clock: object) -> Client:
    client.force_login(builders.person("Ada"))
    return client


def photo(colour: str = "tan") -> SimpleUploadedFile:
    return SimpleUploadedFile("photo.jpg", builders.jpeg(colour), "image/jpeg")


def film() -> SimpleUploadedFile:
    return SimpleUploadedFile("film.jpg", FILM, "image/jpeg")


def page_of(stage: Stage) -> str:
    return reverse("bench-stage", args=[stage.pk])


def send(who: Client, stage: Stage, *files: SimpleUploadedFile, entry: UUID | None = None, **said: str) -> Any:
    """What a browser posts: done, unless told otherwise. Returns the test client's response."""
    data = {"entry": str(entry or uuid4()), "says": "done", **said, "photos": list(files)}
    return who.post(page_of(stage), data)


def run_due(at: datetime) -> None:
    """What workers would do until nothing is due any more."""
    for _ in range(3):
        for errand in Errand.objects.filter(state=ErrandState.WAITING, due_at__lte=at):
            duties.run(errand.pk, lambda: at)
