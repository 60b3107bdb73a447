"""What a maker says at the bench: done, a photo, and taking it back."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_noop as _

from studio.workshop.actions.errors import Refused, TooLate
from studio.workshop.actions.history import note
from studio.workshop.actions.notices import lock_piece, owe_notices, withdraw_notices
from studio.workshop.actions.sent import keep_photos, still_to_make
from studio.workshop.actions.stuck import close_stuck, stand_by_the_next_word
from studio.workshop.models import Entry, Person, Release, Says, Stage, Stuck
from studio.workshop.photos import Kept

TAKE_BACK_WITHIN = timedelta(hours=24)


@transaction.atomic
def log_at_bench(
    *,
    entry_id: UUID,
    stage: Stage,
    says: Says,
    photos: Sequence[Kept] = (),
    sentence: str = "",
    for_client: bool = True,
    by: Person,
    now: datetime,
    done_by: Person | None = None,
    done_at: datetime | None = None,
) -> Entry:
    """Logs a stage as done, or a photo only. The same ``entry_id`` again changes nothing and returns the first answer,
    unless a photo comes with it that is new.

    A stage that somebody has logged in the meantime stays theirs: the answer is then their entry, or, where photos
    came along, an entry of its own that says "photo". Without a sentence the studio's own for this kind is used.
    ``done_by`` and ``done_at`` say whose work it was and when it ended, where that is not ``by`` and ``now``.
    """
    lock_piece(stage)
    made, entry_id, photos = still_to_make(entry_id, photos, stage=stage, by=by)
    if made:
        return made
    if says == Says.DONE and stage.piece.job.closed_on:
        raise Refused(_("This job is closed. Ask the lead, or add a photo only."))
    done = says == Says.DONE and Stage.objects.filter(pk=stage.pk, done_at=None).update(
        done_at=done_at or now, done_by=done_by or by
    )
    if says == Says.DONE and not done and not photos:
        return Entry.objects.get(stage=stage, says=Says.DONE, taken_back_at=None)
    entry = Entry.objects.create(
        pk=entry_id,
        stage=stage,
        says=Says.DONE if done else Says.PHOTO,
        sentence=sentence or (stage.kind.sentence if for_client else ""),
        for_client=for_client,
        released_at=now if for_client and stage.piece.job.release == Release.STRAIGHT else None,
        by=by,
        at=now,
    )
    keep_photos(entry, photos, now=now)
    note("logged done" if done else "added photo", stage, by=by, now=now, job=stage.piece.job)
    if done:
        close_stuck(Stuck.objects.filter(stage=stage), by=by, now=now)
        owe_notices(entry, now=now)
    return entry


def can_take_back(entry: Entry, person: Person, now: datetime) -> bool:
    """Within 24 hours and until the next stage starts, by whoever logged it; by a lead always."""
    if entry.taken_back_at:
        return False
    if person.is_lead:
        return True
    if now - entry.at > TAKE_BACK_WITHIN or entry.by_id != person.pk:
        return False
    stage = entry.stage
    later = [other.pk for other in stage.piece.stages.all() if (other.position, other.pk) > (stage.position, stage.pk)]
    return not Entry.objects.filter(stage__in=later, taken_back_at=None).exists()


@transaction.atomic
def take_back(entry: Entry, *, by: Person, now: datetime) -> Entry:
    """The stage is as if it had not been logged; its photos leave the client's page and its letters stay here.

    If a letter has gone, nothing is sent by itself: the lead sees it. Raises TooLate. Taking back twice is the same.
    """
    lock_piece(entry.stage)
    entry = Entry.objects.select_related("stage__piece__job").get(pk=entry.pk)
    if entry.taken_back_at:
        return entry
    if not can_take_back(entry, by, now):
        raise TooLate(_("It is too late to take this back. Tell the lead, who can still change it."))
    if Entry.objects.filter(pk=entry.pk, taken_back_at=None).update(taken_back_at=now, taken_back_by=by):
        if entry.says == Says.DONE:
            Stage.objects.filter(pk=entry.stage_id).update(done_at=None, done_by=None)
        if close_stuck(Stuck.objects.filter(entry=entry), by=by, now=now):
            stand_by_the_next_word(entry, now=now)
        withdraw_notices(entry.notices.all(), now=now)
        note("took back", entry.stage, by=by, now=now, job=entry.stage.piece.job)
    return Entry.objects.get(pk=entry.pk)


@transaction.atomic
def mark_seen(entry: Entry, *, by: Person, now: datetime) -> None:
    """The lead has seen that something was taken back after its letter had gone."""
    Entry.objects.filter(pk=entry.pk, lead_saw_at=None).update(lead_saw_at=now)
    note("saw taken back", entry.stage, by=by, now=now, job=entry.stage.piece.job)
