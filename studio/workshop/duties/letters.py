"""Letters on their way: to a contact, that a stage is done; to a lead, that one is stuck."""

from datetime import datetime

from django.db.models import Q

from studio.workshop import imaging, letters, outbox, storage
from studio.workshop.models import Errand, Letter, Notice, NoticeState, Person, Photo, Role, Stuck

LETTER_PICTURE_MOST_BYTES = 60_000


class KeptBack(Exception):
    """The lead took a photo back while its letter was being written: written again, it has another one, or none."""


def send(errand: Errand, now: datetime) -> Photo | None:
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
        outbox.put(mail, errand.pk)
    except (OSError, KeptBack):
        if not outbox.path(errand.pk).exists():  # still here, and so it can be taken back
            row.filter(state=NoticeState.LEAVING).update(state=NoticeState.GOING)
        raise
    return photo


def _letter_picture(photo: Photo) -> bytes:
    rendition = photo.renditions.get(edge=960)
    return imaging.shrink(storage.rendition_path(rendition.sha256), LETTER_PICTURE_MOST_BYTES)


def keep_sent(errand: Errand, photo: Photo | None, now: datetime) -> None:
    leaving = Notice.objects.filter(pk=errand.subject, state=NoticeState.LEAVING)
    for notice in leaving:
        Letter.objects.create(
            pk=errand.pk, notice=notice, contact_id=notice.contact_id, job_id=notice.job_id, photo=photo, sent_at=now
        )
    leaving.update(state=NoticeState.TOLD)


def tell_lead(errand: Errand, now: datetime) -> tuple[Stuck, Person] | None:
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
    if not outbox.path(errand.pk).exists():
        if not Stuck.objects.standing().filter(pk=stuck.pk).exists():
            return None
        outbox.put(letters.as_mail(letters.something_stuck(stuck, lead), errand.pk, now), errand.pk)
    return stuck, lead


def keep_told(errand: Errand, told: tuple[Stuck, Person] | None, now: datetime) -> None:
    if told:
        stuck, lead = told
        Letter.objects.create(pk=errand.pk, stuck=stuck, person=lead, job=stuck.stage.piece.job, sent_at=now)
