"""Who is owed word, and when it leaves. The one place that decides when a letter may go."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from studio.workshop import errands
from studio.workshop.models import (
    Entry,
    Kind,
    Notice,
    NoticeState,
    Photo,
    PhotoState,
    Piece,
    Release,
    Says,
    Stage,
    Studio,
)


def owe_notices(entry: Entry, *, now: datetime) -> None:
    """Each contact who follows the job is owed word of a stage that is done; at most once a stage."""
    job = entry.stage.piece.job
    today = now.astimezone(ZoneInfo(Studio.objects.get().time_zone)).date()
    links = job.links.written_to().opening(today).select_related("contact")
    Notice.objects.bulk_create(
        [Notice(contact=link.contact, job=job, stage=entry.stage, entry=entry, at=now) for link in links],
        ignore_conflicts=True,
    )
    settle_notices(entry.stage, now=now)


def settle_notices(stage: Stage, *, now: datetime) -> None:
    """Called whenever something changed that a notice waits for: gives it its hour once nothing is missing.

    On a job that goes straight: no photo of the stage is still being developed, and, where its done came with photos for
    the client, at least one of the stage can be shown. Where the lead looks first, ``let_go`` alone does it.
    """
    done = Entry.objects.filter(stage=stage, says=Says.DONE, taken_back_at=None).first()
    if stage.piece.job.release != Release.STRAIGHT or done is None:
        return
    photos = Photo.objects.standing().filter(stage=stage, for_client=True)
    if photos.filter(state=PhotoState.WAITING).exists():
        return
    if Photo.objects.shown().filter(stage=stage).exists() or not photos.filter(entry=done).exists():
        let_go(stage, by_itself=True, now=now)


def lock_piece(stage: Stage) -> None:
    """One at a time logs at a piece, takes back, or settles what its photos hold up; until the transaction ends."""
    Piece.objects.select_for_update().get(pk=stage.piece_id)


def let_go(stage: Stage, *, by_itself: bool = False, now: datetime) -> int:
    """Gives what is owed of a stage its hour: the undo window counts from now where a person let it go, and from when
    the stage was logged where it goes by itself. Returns how many letters will leave."""
    window = timedelta(minutes=Studio.objects.get().undo_minutes)
    owed = Notice.objects.filter(stage=stage, state=NoticeState.OWED, entry__taken_back_at=None)
    gone = 0
    for notice in owed.select_related("entry"):
        leaves_at = max(notice.entry.at + window, now) if by_itself else now + window
        row = Notice.objects.filter(pk=notice.pk, state=NoticeState.OWED)
        if row.update(state=NoticeState.GOING, leaves_at=leaves_at):
            errands.ask(Kind.SEND_LETTER, str(notice.pk), due_at=leaves_at, now=now)
            gone += 1
    return gone


def hold_notices(stage: Stage, *, now: datetime) -> None:
    """Back to owed, for the lead to decide: what has an hour to leave loses it. What is leaving, leaves."""
    for notice in Notice.objects.filter(stage=stage, state=NoticeState.GOING):
        row = Notice.objects.filter(pk=notice.pk, state=NoticeState.GOING)
        if row.update(state=NoticeState.OWED, leaves_at=None):
            errands.drop(Kind.SEND_LETTER, str(notice.pk), now=now)


def withdraw_notices(notices: QuerySet[Notice], *, now: datetime) -> int:
    """Takes back what has not begun to leave. Returns how many had left, or were leaving, already."""
    here = [NoticeState.OWED, NoticeState.GOING]
    for notice in notices.filter(state__in=here):
        if Notice.objects.filter(pk=notice.pk, state__in=here).update(state=NoticeState.WITHDRAWN):
            errands.drop(Kind.SEND_LETTER, str(notice.pk), now=now)
    return notices.filter(state__in=[NoticeState.LEAVING, NoticeState.TOLD]).count()
