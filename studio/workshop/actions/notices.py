"""Who is owed word, and when it leaves. The one place that decides when a letter may go."""

from datetime import datetime, timedelta

from django.db.models import QuerySet

from studio.workshop import errands
from studio.workshop.models import Entry, Kind, Notice, NoticeState, Photo, PhotoState, Release, Studio


def owe_notices(entry: Entry, *, now: datetime) -> None:
    """Each contact who follows the job is owed word of a stage that is done; at most once a stage."""
    job = entry.stage.piece.job
    links = job.links.standing().exclude(contact__email="").select_related("contact")
    Notice.objects.bulk_create(
        [Notice(contact=link.contact, job=job, stage=entry.stage, entry=entry, at=now) for link in links],
        ignore_conflicts=True,
    )
    settle_notices(entry, now=now)


def settle_notices(entry: Entry, *, now: datetime) -> None:
    """Called whenever something changed that a notice waits for: gives it its hour once nothing is missing.

    Straight: its photos are developed, and none failed to come out. When the lead has looked: ``let_go`` alone.
    """
    if entry.stage.piece.job.release != Release.STRAIGHT or entry.taken_back_at:
        return
    missing = Photo.objects.filter(entry=entry, for_client=True).exclude(state=PhotoState.DEVELOPED)
    if not missing.exists():
        let_go(entry, now=now)


def let_go(entry: Entry, *, now: datetime) -> int:
    """Gives the notices of an entry their hour: the undo window counts from when the stage was logged, or from now
    where a person let it go. Returns how many letters will leave."""
    window = timedelta(minutes=Studio.objects.get().undo_minutes)
    straight = entry.stage.piece.job.release == Release.STRAIGHT
    leaves_at = max(entry.at + window, now) if straight else now + window
    owed = list(Notice.objects.filter(entry=entry, state=NoticeState.OWED))
    for notice in owed:
        if Notice.objects.filter(pk=notice.pk, state=NoticeState.OWED).update(
            state=NoticeState.GOING, leaves_at=leaves_at
        ):
            errands.ask(Kind.SEND_LETTER, str(notice.pk), due_at=leaves_at, now=now)
    return len(owed)


def hold_notices(entry: Entry, *, now: datetime) -> None:
    """Back to owed, for the lead to decide: what has an hour to leave loses it. What is leaving, leaves."""
    for notice in Notice.objects.filter(entry=entry, state=NoticeState.GOING):
        if Notice.objects.filter(pk=notice.pk, state=NoticeState.GOING).update(
            state=NoticeState.OWED, leaves_at=None
        ):
            errands.drop(Kind.SEND_LETTER, str(notice.pk), now=now)


def withdraw_notices(notices: QuerySet[Notice], *, now: datetime) -> int:
    """Takes back what has not begun to leave. Returns how many had left, or were leaving, already."""
    for notice in notices.filter(state__in=[NoticeState.OWED, NoticeState.GOING]):
        if Notice.objects.filter(pk=notice.pk, state__in=[NoticeState.OWED, NoticeState.GOING]).update(
            state=NoticeState.WITHDRAWN
        ):
            errands.drop(Kind.SEND_LETTER, str(notice.pk), now=now)
    return notices.filter(state__in=[NoticeState.LEAVING, NoticeState.TOLD]).count()
