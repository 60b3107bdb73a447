"""What each kind of errand does. Work outside any transaction; then one transaction keeps the result and ends the errand."""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from celery.exceptions import SoftTimeLimitExceeded
from django.db import transaction
from django.db.models import Q

from studio.workshop import errands, imaging, letters, storage
from studio.workshop.actions.notices import lock_piece, settle_notices
from studio.workshop.models import (
    Errand,
    ErrandState,
    Kind,
    Letter,
    Notice,
    NoticeState,
    Person,
    Photo,
    PhotoState,
    Plan,
    Release,
    Rendition,
    Role,
    Stuck,
    Studio,
)
from studio.workshop.planning.answer import FORM
from studio.workshop.planning.drawing import Answer, draw
from studio.workshop.sniff import NotAPhoto

log = logging.getLogger(__name__)

Clock = Callable[[], datetime]
LETTER_PICTURE_MOST_BYTES = 60_000
KEEP_DONE_FOR = timedelta(days=30)
UNNAMED_FILES_GO_AFTER = timedelta(hours=24)


class KeptBack(Exception):
    """The lead took a photo back while its letter was being written: written again, it has another one, or none."""


@dataclass(frozen=True)
class Duty:
    """``work`` may take its time and holds no lock; ``keep`` writes what came of it, inside the closing transaction."""

    work: Callable[[Errand, datetime], Any]
    keep: Callable[[Errand, Any, datetime], None]


def run(errand_id: UUID, clock: Clock) -> None:
    """Claims an errand and does it; a nudge that comes twice or too late finds nothing to claim. Never raises for a
    duty that failed: the row says so, and once in the log."""
    errand = errands.claim(errand_id, clock())
    if errand is None:
        return
    duty = DUTIES[Kind(errand.kind)]
    try:
        result = duty.work(errand, clock())
        with transaction.atomic():
            duty.keep(errand, result, clock())
            errands.finish(errand, clock())
    except errands.Fenced:
        log.info("errand %s went to another worker meanwhile", errand.pk)
    except letters.CannotWrite as problem:
        errands.give_up(errand, str(problem))
        log.warning("errand %s failed: no letter could be written", errand.pk)
    except (Exception, SoftTimeLimitExceeded) as error:
        sentence = "It took too long." if isinstance(error, SoftTimeLimitExceeded) else _sentence(error)
        failed = errands.give_back(errand, sentence, clock())
        if errand.strikes == 0:  # with its reason once, however often it is tried
            log.error("errand %s came to nothing and will be tried again", errand.pk, exc_info=error)
        elif failed:
            log.error("errand %s failed for good: %s", errand.pk, type(error).__name__)


def _sentence(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return f"The disk said: {error.strerror}."
    return f"Something went wrong ({type(error).__name__}). The log names errand and reason."


# developing a photo


@dataclass(frozen=True)
class Copy:
    edge: int
    sha256: str
    width: int
    height: int
    size_bytes: int


def _develop(errand: Errand, now: datetime) -> list[Copy] | NotAPhoto:
    photo = Photo.objects.get(pk=errand.subject)
    try:
        developed = imaging.develop(storage.original_path(photo.original_sha256))
    except NotAPhoto as problem:
        return problem
    return [
        Copy(item.edge, storage.keep_rendition(item.jpeg), item.width, item.height, len(item.jpeg))
        for item in developed
    ]


def _keep_developed(errand: Errand, result: list[Copy] | NotAPhoto, now: datetime) -> None:
    photo = Photo.objects.select_related("entry__stage__piece__job", "entry__stage__kind").get(pk=errand.subject)
    lock_piece(photo.stage)  # of two photos that are ready at once, the second sees the first
    row = Photo.objects.filter(pk=photo.pk)
    if isinstance(result, NotAPhoto):
        row.update(state=PhotoState.UNREADABLE, reason=result.reason)
    else:
        for copy in result:
            Rendition.objects.update_or_create(
                photo=photo,
                edge=copy.edge,
                defaults={
                    "sha256": copy.sha256,
                    "width": copy.width,
                    "height": copy.height,
                    "size_bytes": copy.size_bytes,
                },
            )
        row.update(state=PhotoState.DEVELOPED, reason="")
        if photo.for_client and photo.entry.stage.piece.job.release == Release.STRAIGHT:
            row.filter(released_at=None).update(released_at=now)
    settle_notices(photo.entry.stage, now=now)


# sending a letter


def _send(errand: Errand, now: datetime) -> Photo | None:
    """Into the outbox. The notice is leaving, and too late to take back, from the moment before the file is written;
    writing it again after a crash is harmless."""
    row = Notice.objects.filter(pk=errand.subject)
    notice = row.select_related("contact", "job", "stage__piece", "stage__kind", "entry").first()
    if notice is None or notice.state not in {NoticeState.GOING, NoticeState.LEAVING}:
        return None
    shown = Photo.objects.shown().filter(stage=notice.stage_id).order_by("-at", "-id")
    photo = shown.filter(entry=notice.entry_id).first() or shown.first()
    mail = letters.as_mail(letters.stage_done(notice, _letter_picture(photo) if photo else None), errand.pk, now)
    # Its hour may have been moved since this errand was claimed: then it goes at that hour.
    may_leave = Q(state=NoticeState.LEAVING) | Q(state=NoticeState.GOING, leaves_at__lte=now)
    if not row.filter(may_leave).update(state=NoticeState.LEAVING):
        return None
    try:
        if photo and not Photo.objects.shown().filter(pk=photo.pk).exists():
            raise KeptBack("The photo of this letter was kept back meanwhile.")
        letters.put_in_outbox(mail, errand.pk)
    except (OSError, KeptBack):
        if not letters.outbox_path(errand.pk).exists():  # still here, and so it can be taken back
            row.filter(state=NoticeState.LEAVING).update(state=NoticeState.GOING)
        raise
    return photo


def _letter_picture(photo: Photo) -> bytes:
    rendition = photo.renditions.get(edge=960)
    return imaging.shrink(storage.rendition_path(rendition.sha256), LETTER_PICTURE_MOST_BYTES)


def _keep_sent(errand: Errand, photo: Photo | None, now: datetime) -> None:
    leaving = Notice.objects.filter(pk=errand.subject, state=NoticeState.LEAVING)
    for notice in leaving:
        Letter.objects.create(
            pk=errand.pk, notice=notice, contact_id=notice.contact_id, job_id=notice.job_id, photo=photo, sent_at=now
        )
    leaving.update(state=NoticeState.TOLD)


# telling a lead what is stuck


def _tell_lead(errand: Errand, now: datetime) -> tuple[Stuck, Person] | None:
    """Into the outbox, unless it was answered meanwhile. A letter that lies there from before a crash has left: it is not
    written anew, and stands in the record whatever was answered since."""
    stuck_id, _, person_id = errand.subject.partition("-")
    told = Stuck.objects.select_related("entry__by", "stage__kind", "stage__piece__job")
    stuck, lead = (
        told.filter(pk=stuck_id).first(),
        Person.objects.filter(pk=person_id, is_active=True, role=Role.LEAD).first(),
    )
    if not stuck or not lead:
        return None
    if not letters.outbox_path(errand.pk).exists():
        if not Stuck.objects.standing().filter(pk=stuck.pk).exists():
            return None
        letters.put_in_outbox(letters.as_mail(letters.something_stuck(stuck, lead), errand.pk, now), errand.pk)
    return stuck, lead


def _keep_told(errand: Errand, told: tuple[Stuck, Person] | None, now: datetime) -> None:
    if told:
        stuck, lead = told
        Letter.objects.create(pk=errand.pk, stuck=stuck, person=lead, job=stuck.stage.piece.job, sent_at=now)


# the plan


def ask_for_todays_plan(now: datetime) -> None:
    """Each day begins with a plan of its own: what was to be done yesterday and is not logged is still to do."""
    for studio in Studio.objects.all():
        zone = ZoneInfo(studio.time_zone)
        today = now.astimezone(zone).date()
        # From midnight to midnight, so that what a clock that was ahead has asked for does not count.
        day = [datetime.combine(date, time(), zone) for date in (today, today + timedelta(1))]
        seen = Q(kind=Kind.REFRESH_PLAN, asked_at__range=day) & ~Q(state=ErrandState.DONE)
        plan = Plan.objects.filter(made_at__range=day, answer__form=FORM)
        if not plan.exists() and not Errand.objects.filter(seen).exists():
            with transaction.atomic():
                errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now, now=now)


def _refresh_plan(errand: Errand, now: datetime) -> Answer | None:
    return draw(now)


def _keep_plan(errand: Errand, answer: Answer | None, now: datetime) -> None:
    if answer:
        Plan.objects.update_or_create(
            pk=1, defaults={"facts": answer.facts, "made_at": answer.made_at, "answer": answer.told}
        )


# tidying up


def _tidy(errand: Errand, now: datetime) -> None:
    """Files that no row names go after a day; a row never names a missing file."""
    young = (now - UNNAMED_FILES_GO_AFTER).timestamp()
    named = {
        storage.ORIGINALS: set(Photo.objects.values_list("original_sha256", flat=True)),
        storage.RENDITIONS: set(Rendition.objects.values_list("sha256", flat=True)),
    }
    for shelf, names in named.items():
        for path in storage.shelved(shelf):
            if path.name not in names and path.stat().st_mtime < young:
                path.unlink(missing_ok=True)
    for path in storage.left_over(young):
        path.unlink(missing_ok=True)


def _keep_tidied(errand: Errand, result: None, now: datetime) -> None:
    Errand.objects.filter(state=ErrandState.DONE, done_at__lt=now - KEEP_DONE_FOR).delete()


DUTIES = {
    Kind.DEVELOP_PHOTO: Duty(_develop, _keep_developed),
    Kind.SEND_LETTER: Duty(_send, _keep_sent),
    Kind.TELL_LEAD: Duty(_tell_lead, _keep_told),
    Kind.REFRESH_PLAN: Duty(_refresh_plan, _keep_plan),
    Kind.TIDY_FILES: Duty(_tidy, _keep_tidied),
}
