"""The lead asks once more for what failed, or says what became of what is unknown."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from studio.workshop import errands
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.actions.notices import lock_piece, settle_notices
from studio.workshop.models import (
    Errand,
    ErrandState,
    Kind,
    Letter,
    LetterState,
    Notice,
    NoticeState,
    Person,
    Photo,
    PhotoState,
    Stuck,
)
from studio.workshop.sniff import Reason


@transaction.atomic
def leave_errand(errand_id: UUID, *, by: Person, now: datetime) -> None:
    """Puts a failed or unknown errand away for good: its letter is withdrawn, or was perhaps sent; its photo counts as spoilt."""
    unknown = Errand.objects.filter(pk=errand_id, state=ErrandState.UNKNOWN).exists()
    errand = errands.put_away(errand_id, now)
    if errand is None:
        raise Refused("That is being tried again, or it is done.")
    if unknown:
        _perhaps_sent(errand, errand.claimed_at or now)
    elif errand.kind == Kind.SEND_LETTER:
        here = [NoticeState.OWED, NoticeState.GOING, NoticeState.LEAVING]
        Notice.objects.filter(pk=errand.subject, state__in=here).update(state=NoticeState.WITHDRAWN)
    for photo in Photo.objects.filter(pk=errand.subject) if errand.kind == Kind.DEVELOP_PHOTO else ():
        lock_piece(photo.stage)
        Photo.objects.filter(pk=photo.pk, state=PhotoState.WAITING).update(
            state=PhotoState.UNREADABLE, reason=Reason.DAMAGED
        )
        settle_notices(photo.stage, now=now)
    note("left errand", errand, by=by, now=now)


def _perhaps_sent(errand: Errand, at: datetime) -> None:
    """A letter that nobody knows of stands in the record as one that may have come."""
    if errand.kind == Kind.SEND_LETTER:
        for notice in Notice.objects.filter(pk=errand.subject).exclude(state=NoticeState.TOLD):
            Letter.objects.create(
                pk=errand.pk,
                notice=notice,
                contact_id=notice.contact_id,
                job_id=notice.job_id,
                state=LetterState.UNKNOWN,
                sent_at=at,
            )
            Notice.objects.filter(pk=notice.pk).update(state=NoticeState.TOLD)
    elif errand.kind == Kind.TELL_LEAD:
        stuck, _, lead = errand.subject.partition("-")
        for told in Stuck.objects.select_related("stage__piece").filter(pk=stuck):
            Letter.objects.create(
                pk=errand.pk,
                stuck=told,
                person_id=int(lead),
                job_id=told.stage.piece.job_id,
                state=LetterState.UNKNOWN,
                sent_at=at,
            )


@transaction.atomic
def try_again(errand_id: UUID, *, by: Person, now: datetime) -> None:
    """A letter that was perhaps sent is then one that is going, and can be taken back until it leaves once more."""
    if not errands.try_again(errand_id, now):
        raise Refused("That has been tried again already, or it is done.")
    for errand in Errand.objects.filter(pk=errand_id, kind=Kind.SEND_LETTER):
        leaving = Notice.objects.filter(pk=errand.subject, state=NoticeState.LEAVING)
        leaving.update(state=NoticeState.GOING, leaves_at=now)
    note("tried again", Errand.objects.get(pk=errand_id), by=by, now=now)
