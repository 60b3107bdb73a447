"""Jobs, their pieces and stages, and the lead's confirmed words to the client."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max

from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused, Stale
from studio.workshop.actions.history import note
from studio.workshop.models import Client, Confirmation, Job, Person, Piece, Release, Stage, StageKind, Studio


@transaction.atomic
def add_job(
    *,
    client: Client,
    name: str,
    release: Release = Release.LOOKED,
    wanted_day: date | None = None,
    van_day: date | None = None,
    by: Person,
    now: datetime,
) -> Job:
    job = Job.objects.create(client=client, name=name, release=release, wanted_day=wanted_day, van_day=van_day)
    note("added", job, by=by, now=now, job=job)
    return job


def change_job(
    job: Job,
    *,
    name: str,
    release: Release,
    wanted_day: date | None,
    van_day: date | None,
    closed_on: date | None,
    version: int,
    by: Person,
    now: datetime,
) -> Job:
    if closed_on and closed_on > now.astimezone(ZoneInfo(Studio.objects.get().time_zone)).date():
        raise Refused("A job is closed on a day that has come. Leave the day empty until then.")
    values = {"name": name, "release": release, "wanted_day": wanted_day, "van_day": van_day, "closed_on": closed_on}
    return change(job, values, version=version, by=by, now=now, job=job)


@transaction.atomic
def confirm_words(job: Job, *, words: str, after: int | None, by: Person, now: datetime) -> Confirmation:
    """What the client's page opens with from now on, with its date and who said it. The earlier ones are kept.

    ``after`` is the one that the form was drawn from, None where there was none. Raises Stale with the newest.
    """
    Job.objects.select_for_update().get(pk=job.pk)
    newest = Confirmation.objects.filter(job=job).first()
    if (newest.pk if newest else None) != after:
        raise Stale(newest)
    confirmation = Confirmation.objects.create(job=job, words=words, by=by, at=now)
    note("confirmed", confirmation, by=by, now=now, job=job)
    return confirmation


@transaction.atomic
def add_piece(job: Job, *, name: str, note_to_maker: str = "", by: Person, now: datetime) -> Piece:
    last = job.pieces.aggregate(last=Max("position"))["last"] or 0
    piece = Piece.objects.create(job=job, name=name, note=note_to_maker, position=last + 1)
    note("added", piece, by=by, now=now, job=job)
    return piece


def change_piece(piece: Piece, *, name: str, note_to_maker: str, version: int, by: Person, now: datetime) -> Piece:
    return change(piece, {"name": name, "note": note_to_maker}, version=version, by=by, now=now, job=piece.job)


@transaction.atomic
def add_stage(
    piece: Piece, *, kind: StageKind, title: str = "", maker: Person | None = None, by: Person, now: datetime
) -> Stage:
    """At the end of the piece; ``move_stage`` brings it forward."""
    last = piece.stages.aggregate(last=Max("position"))["last"] or 0
    stage = Stage.objects.create(piece=piece, kind=kind, title=title, maker=maker, position=last + 1)
    note("added", stage, by=by, now=now, job=piece.job)
    return stage


def change_stage(
    stage: Stage, *, kind: StageKind, title: str, maker: Person | None, version: int, by: Person, now: datetime
) -> Stage:
    values = {"kind": kind, "title": title, "maker": maker}
    return change(stage, values, version=version, by=by, now=now, job=stage.piece.job)


@transaction.atomic
def move_stage(stage: Stage, *, earlier: bool, by: Person, now: datetime) -> None:
    """Changes places with the stage before or after it. At the end of the row nothing happens."""
    stages = list(stage.piece.stages.all())
    at = [other.pk for other in stages].index(stage.pk)
    to = at + (-1 if earlier else 1)
    if not 0 <= to < len(stages):
        return
    stages[at], stages[to] = stages[to], stages[at]
    for position, other in enumerate(stages, start=1):
        Stage.objects.filter(pk=other.pk).update(position=position)
    note("moved", stage, by=by, now=now, job=stage.piece.job)


@transaction.atomic
def remove_stage(stage: Stage, *, by: Person, now: datetime) -> None:
    """Only while nothing was logged at it: what was done is never thrown away."""
    if stage.entries.exists():
        raise Refused("Something was logged at this stage, so it stays. Rename it instead.")
    note("removed", stage, by=by, now=now, job=stage.piece.job)
    stage.delete()


@transaction.atomic
def remove_piece(piece: Piece, *, by: Person, now: datetime) -> None:
    if Stage.objects.filter(piece=piece, entries__isnull=False).exists():
        raise Refused("Something was logged at this piece, so it stays. Rename it instead.")
    note("removed", piece, by=by, now=now, job=piece.job)
    piece.delete()


@transaction.atomic
def add_kind(*, name: str, sentence: str, by: Person, now: datetime) -> StageKind:
    if StageKind.objects.filter(name__iexact=name).exists():
        raise Refused(f"There is a stage kind called {name} already. Use another name.")
    last = StageKind.objects.aggregate(last=Max("position"))["last"] or 0
    kind = StageKind.objects.create(name=name, sentence=sentence, position=last + 1)
    note("added", kind, by=by, now=now)
    return kind


def change_kind(kind: StageKind, *, name: str, sentence: str, version: int, by: Person, now: datetime) -> StageKind:
    if StageKind.objects.filter(name__iexact=name).exclude(pk=kind.pk).exists():
        raise Refused(f"There is a stage kind called {name} already. Use another name.")
    return change(kind, {"name": name, "sentence": sentence}, version=version, by=by, now=now)
