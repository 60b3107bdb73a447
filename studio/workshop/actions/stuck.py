"""A maker says that a stage is stuck; somebody answers, or it goes on by itself."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from studio.workshop import errands
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.actions.notices import lock_piece
from studio.workshop.actions.sent import keep_photos, still_to_make
from studio.workshop.letters import NEEDS
from studio.workshop.models import Entry, Errand, ErrandState, Kind, Needs, Person, Role, Says, Stage, Stuck
from studio.workshop.photos import Kept


@transaction.atomic
def say_stuck(
    *,
    entry_id: UUID,
    stage: Stage,
    needs: Needs,
    sentence: str = "",
    photos: Sequence[Kept] = (),
    by: Person,
    now: datetime,
) -> Entry:
    """The stage is held until somebody answers, and each lead gets a letter. What is said and shown is for us only.

    The same ``entry_id`` again changes nothing, unless a photo comes with it that is new. A further word on a stage that
    is stuck already is added to what was said: its entry has no ``Stuck`` of its own, and the answer is the first's.
    """
    lock_piece(stage)
    made, entry_id, photos = still_to_make(entry_id, photos, stage=stage, by=by)
    if made:
        return made
    if stage.piece.job.closed_on:
        raise Refused(_("This job is closed, so nothing is stuck. Ask the lead."))
    if Stage.objects.filter(pk=stage.pk, done_at__isnull=False).exists():
        raise Refused(_("This stage is done, so it cannot be stuck. Take it back first."))
    standing = Stuck.objects.filter(stage=stage, answered_at=None).first()
    if standing and standing.needs != needs:
        sentence = sentence or gettext(NEEDS[needs])
    entry = Entry.objects.create(
        pk=entry_id, stage=stage, says=Says.STUCK, sentence=sentence, for_client=False, by=by, at=now
    )
    keep_photos(entry, photos, now=now)
    if standing:
        note("added to what is stuck", stage, by=by, now=now, job=stage.piece.job)
        return entry
    stuck = Stuck.objects.create(entry=entry, stage=stage, needs=needs, at=now)
    note("said stuck", stage, by=by, now=now, job=stage.piece.job)
    _tell_leads(stuck, but=by, now=now)
    return entry


def _tell_leads(stuck: Stuck, *, but: Person, now: datetime) -> None:
    for lead in Person.objects.filter(role=Role.LEAD, is_active=True).exclude(pk=but.pk).exclude(email=""):
        errands.ask(Kind.TELL_LEAD, f"{stuck.pk}-{lead.pk}", due_at=now, now=now)


@transaction.atomic
def answer_stuck(stuck: Stuck, *, answer: str = "", by: Person, now: datetime) -> None:
    """It can go on: the lead's words stand on the bench, or, without any, whoever was stuck helped themselves.

    Answering twice keeps the first answer. Letters about it that have not left stay here.
    """
    stage = Stage.objects.select_related("piece__job").get(pk=stuck.stage_id)
    lock_piece(stage)
    if close_stuck(Stuck.objects.filter(pk=stuck.pk), answer=answer, by=by, now=now):
        note("answered stuck" if answer else "carried on", stage, by=by, now=now, job=stage.piece.job)


def stand_by_the_next_word(entry: Entry, *, now: datetime) -> None:
    """Where others had added to what was said and is taken back, the stage stays stuck, by the first of their words."""
    later = Entry.objects.filter(stage=entry.stage_id, says=Says.STUCK, at__gte=entry.at, taken_back_at=None)
    if following := later.exclude(pk=entry.pk).select_related("by").order_by("at", "id").first():
        needs = next((need for need, words in NEEDS.items() if following.sentence == gettext(words)), entry.stuck.needs)
        stuck = Stuck.objects.create(entry=following, stage=entry.stage, needs=needs, at=following.at)
        _tell_leads(stuck, but=following.by, now=now)


def close_stuck(rows: QuerySet[Stuck], *, answer: str = "", by: Person, now: datetime) -> bool:
    """Those of ``rows`` that stand hold their stage no more. Whether any did. The caller has locked the piece."""
    standing = list(rows.filter(answered_at=None))
    for stuck in standing:
        Stuck.objects.filter(pk=stuck.pk).update(answered_at=now, answered_by=by, answer=answer)
        here = Errand.objects.filter(kind=Kind.TELL_LEAD, subject__startswith=f"{stuck.pk}-")
        for errand in here.filter(state__in=[ErrandState.WAITING, ErrandState.FAILED]):
            errands.drop(Kind.TELL_LEAD, errand.subject, now=now)
    return bool(standing)
