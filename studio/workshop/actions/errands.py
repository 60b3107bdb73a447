"""The lead asks once more for what failed, or says what became of what is unknown."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from studio.workshop import errands
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.actions.notices import lock_piece, settle_notices
from studio.workshop.models import Errand, Kind, Notice, NoticeState, Person, Photo, PhotoState
from studio.workshop.sniff import Reason


@transaction.atomic
def leave_errand(errand_id: UUID, *, by: Person, now: datetime) -> None:
    """Puts a failed or unknown errand away for good: its letter is withdrawn, or its photo counts as spoilt."""
    errand = errands.put_away(errand_id, now)
    if errand is None:
        raise Refused("That is being tried again, or it is done.")
    if errand.kind == Kind.SEND_LETTER:
        here = [NoticeState.OWED, NoticeState.GOING, NoticeState.LEAVING]
        Notice.objects.filter(pk=errand.subject, state__in=here).update(state=NoticeState.WITHDRAWN)
    for photo in Photo.objects.filter(pk=errand.subject) if errand.kind == Kind.DEVELOP_PHOTO else ():
        lock_piece(photo.stage)
        Photo.objects.filter(pk=photo.pk, state=PhotoState.WAITING).update(
            state=PhotoState.UNREADABLE, reason=Reason.DAMAGED
        )
        settle_notices(photo.stage, now=now)
    note("left errand", errand, by=by, now=now)


@transaction.atomic
def try_again(errand_id: UUID, *, by: Person, now: datetime) -> None:
    if not errands.try_again(errand_id, now):
        raise Refused("That has been tried again already, or it is done.")
    note("tried again", Errand.objects.get(pk=errand_id), by=by, now=now)
