"""Jobs, their pieces, and the lead's confirmed words to the client."""

from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max

from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused, Stale
from studio.workshop.actions.history import note
from studio.workshop.actions.stages import pass_on
from studio.workshop.models import Client, Confirmation, Job, Person, Piece, Release, Stage, Studio, Wanted


@transaction.atomic
def add_job(
    *,
    client: Client,
    name: str,
    release: Release = Release.LOOKED,
    wanted_day: date | None = None,
    wanted_means: Wanted = Wanted.THERE,
    fixed: bool = False,
    van_day: date | None = None,
    form: UUID | None = None,
    by: Person,
    now: datetime,
) -> Job:
    job = Job.objects.create(
        client=client,
        name=name,
        release=release,
        wanted_day=wanted_day,
        wanted_means=wanted_means,
        fixed=fixed,
        van_day=van_day,
        form=form,
    )
    note("added", job, by=by, now=now, job=job)
    return job


def change_job(
    job: Job,
    *,
    name: str,
    release: Release,
    wanted_day: date | None,
    wanted_means: Wanted,
    fixed: bool,
    van_day: date | None,
    closed_on: date | None,
    version: int,
    by: Person,
    now: datetime,
) -> Job:
    if closed_on and closed_on > now.astimezone(ZoneInfo(Studio.objects.get().time_zone)).date():
        raise Refused("A job is closed on a day that has come. Leave the day empty until then.")
    values = {
        "name": name,
        "release": release,
        "wanted_day": wanted_day,
        "wanted_means": wanted_means,
        "fixed": fixed,
        "van_day": van_day,
        "closed_on": closed_on,
    }
    return change(job, values, version=version, by=by, now=now, job=job)


@transaction.atomic
def confirm_words(job: Job, *, words: str, after: int | None, by: Person, now: datetime) -> Confirmation:
    """What the client's page opens with from now on, with its date, who said it, and the van's day as it stands. The
    earlier ones are kept.

    ``after`` is the one that the form was drawn from, None where there was none. Raises Stale with the newest.
    """
    van_day = Job.objects.select_for_update().get(pk=job.pk).van_day
    newest = Confirmation.objects.filter(job=job).first()
    if (newest.pk if newest else None) != after:
        raise Stale(newest)
    confirmation = Confirmation.objects.create(job=job, words=words, van_day=van_day, by=by, at=now)
    note("confirmed", confirmation, by=by, now=now, job=job)
    return confirmation


@transaction.atomic
def add_piece(
    job: Job,
    *,
    name: str,
    note_to_maker: str = "",
    longest_mm: int | None = None,
    stands_alone: bool = False,
    form: UUID | None = None,
    by: Person,
    now: datetime,
) -> Piece:
    last = job.pieces.aggregate(last=Max("position"))["last"] or 0
    piece = Piece.objects.create(
        job=job,
        name=name,
        note=note_to_maker,
        longest_mm=longest_mm,
        stands_alone=stands_alone,
        form=form,
        position=last + 1,
    )
    note("added", piece, by=by, now=now, job=job)
    return piece


def change_piece(
    piece: Piece,
    *,
    name: str,
    note_to_maker: str,
    longest_mm: int | None,
    stands_alone: bool,
    version: int,
    by: Person,
    now: datetime,
) -> Piece:
    values = {"name": name, "note": note_to_maker, "longest_mm": longest_mm, "stands_alone": stands_alone}
    return change(piece, values, version=version, by=by, now=now, job=piece.job)


@transaction.atomic
def remove_piece(piece: Piece, *, by: Person, now: datetime) -> None:
    if Stage.objects.filter(piece=piece, entries__isnull=False).exists():
        raise Refused("Something was logged at this piece, so it stays. Rename it instead.")
    note("removed", piece, by=by, now=now, job=piece.job)
    pass_on(Stage.objects.filter(piece=piece).select_related("piece"))
    piece.delete()
