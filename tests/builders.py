"""Rows for tests, made through the actions that the studio uses. The jobs and people are invented."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from uuid import UUID, uuid4

from django.conf import settings
from django.core.files.uploadedfile import TemporaryUploadedFile
from PIL import Image

from studio.workshop import actions, duties, photos
from studio.workshop.models import (
    Confirmation,
    Contact,
    Entry,
    Errand,
    ErrandState,
    Job,
    Kind,
    Link,
    Needs,
    Person,
    Piece,
    Release,
    Role,
    Says,
    Stage,
    StageKind,
)
from tests.conftest import NOW


def jpeg(colour: str = "tan", size: tuple[int, int] = (64, 48)) -> bytes:
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG")
    return out.getvalue()


def upload(content: bytes, name: str = "photo.jpg") -> TemporaryUploadedFile:
    file = TemporaryUploadedFile(name, "image/jpeg", len(content), None)
    file.write(content)
    file.flush()
    file.seek(0)
    return file


def kept(content: bytes | None = None) -> Sequence[photos.Kept]:
    """A photo whose original is on the disk, as an upload leaves it."""
    with upload(content or jpeg()) as file:
        return photos.keep([file]).kept


def lead(name: str = "Ines") -> Person:
    return person(name, Role.LEAD)


def person(name: str, role: Role = Role.MAKER) -> Person:
    email = f"{name.lower()}@bodkinyard.example"
    found = Person.objects.filter(email=email).first()
    return found or actions.add_person(name=name, email=email, role=role, password=None, by=None, now=NOW)


def job(
    name: str = "Talking watering can",
    *,
    client: str = "Wharfside Theatre",
    release: Release = Release.STRAIGHT,
    stages: Sequence[str] = ("carving", "mould", "lay-up"),
    maker: Person | None = None,
) -> Job:
    """A job with one piece of the same name and these stages."""
    actions.set_out_studio()
    ines = lead()
    who = actions.add_client(name=client, by=ines, now=NOW)
    made = actions.add_job(client=who, name=name, release=release, by=ines, now=NOW)
    piece = actions.add_piece(made, name=name, by=ines, now=NOW)
    for kind in stages:
        actions.add_stage(piece, kind=StageKind.objects.get(name=kind), maker=maker, by=ines, now=NOW)
    Stage.objects.filter(piece=piece).update(added_at=NOW - timedelta(days=28))
    return made


def contact(of: Job, name: str = "Priya", email: str | None = None) -> Contact:
    address = f"{name.lower()}@client.example" if email is None else email
    return actions.add_contact(of.client, name=name, email=address, by=lead(), now=NOW)


def link(of: Job, name: str = "Priya", email: str | None = None) -> Link:
    """A contact who follows the job."""
    return actions.give_link(contact(of, name, email), of, by=lead(), now=NOW)


def piece(of: Job) -> Piece:
    return of.pieces.get()


def stage(of: Job, kind: str = "carving") -> Stage:
    return Stage.objects.told().get(piece__job=of, kind__name=kind)


def log_done(
    at: Stage,
    *,
    by: Person | None = None,
    photo: bool = True,
    for_client: bool = True,
    now: datetime = NOW,
    entry_id: UUID | None = None,
    sentence: str = "",
    content: bytes | None = None,
) -> Entry:
    return actions.log_at_bench(
        entry_id=entry_id or uuid4(),
        stage=at,
        says=Says.DONE,
        photos=kept(content) if photo else (),
        sentence=sentence,
        for_client=for_client,
        by=by or person("Ada"),
        now=now,
    )


def say_stuck(
    at: Stage,
    needs: Needs = Needs.MATERIAL,
    *,
    by: Person | None = None,
    photo: bool = False,
    now: datetime = NOW,
    entry_id: UUID | None = None,
    sentence: str = "",
    content: bytes | None = None,
) -> Entry:
    return actions.say_stuck(
        entry_id=entry_id or uuid4(),
        stage=at,
        needs=needs,
        sentence=sentence,
        photos=kept(content) if photo or content else (),
        by=by or person("Ada"),
        now=now,
    )


def confirm(of: Job, *, words: str, by: Person | None = None, now: datetime = NOW) -> Confirmation:
    newest = of.confirmations.first()
    return actions.confirm_words(of, words=words, after=newest.pk if newest else None, by=by or lead(), now=now)


def media() -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def work(at: datetime = NOW) -> None:
    """What the workers would do: every errand that is due, and then those that these asked for. A plan waits no longer."""
    waiting = Errand.objects.filter(state=ErrandState.WAITING)
    while True:
        waiting.filter(kind=Kind.REFRESH_PLAN).update(due_at=at)
        errands = list(waiting.filter(due_at__lte=at))
        if not errands:
            return
        for errand in errands:
            duties.run(errand.pk, lambda: at)
