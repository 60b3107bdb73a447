"""The stages of a piece: added, changed, moved, removed, and finished for somebody."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from studio.craft.methods import MOST_MIN
from studio.workshop.actions.bench import log_at_bench
from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Entry, Person, Piece, Place, Says, Stage, StageKind
from studio.workshop.planning.following import Followed, followed, ring

LONGEST_AGO = timedelta(days=366)


@transaction.atomic
def add_stage(
    piece: Piece,
    *,
    kind: StageKind,
    title: str = "",
    maker: Person | None = None,
    work_min: int | None = None,
    form: UUID | None = None,
    by: Person,
    now: datetime,
) -> Stage:
    """At the end of the piece; ``move_stage`` brings it forward. Hours, place and cure are the kind's own first guess. The same
    ``form`` again changes nothing and returns the first stage."""
    if form and (first := Stage.objects.filter(form=form).first()):
        return first
    last = piece.stages.aggregate(last=Max("position"))["last"] or 0
    stage = Stage.objects.create(
        piece=piece,
        kind=kind,
        title=title,
        maker=maker,
        position=last + 1,
        work_min=kind.work_min if work_min is None else work_min,
        crew=kind.crew,
        place=kind.place,
        cure_min=kind.cure_min,
        cure_holds=kind.cure_holds,
        form=form,
        added_at=now,
    )
    note("added", stage, by=by, now=now, job=piece.job)
    return stage


@transaction.atomic
def change_stage(
    stage: Stage,
    *,
    kind: StageKind,
    title: str,
    maker: Person | None,
    work_min: int,
    left_min: int | None,
    crew: int,
    place: Place | None,
    cure_min: int,
    cure_holds: bool,
    due_on: date | None,
    follows: Collection[Stage],
    version: int,
    by: Person,
    now: datetime,
) -> Stage:
    """``left_min`` is what is still to do, as somebody says now; None where nobody does, and what was said before stands.
    ``follows`` empty: by default."""
    if max(work_min, left_min or 0, cure_min) > MOST_MIN:
        raise Refused("That is more than 10,000 hours. Write the hours of this stage alone.")
    _refuse_ring(stage, kind, follows)
    values: dict[str, Any] = {
        "kind": kind,
        "title": title,
        "maker": maker,
        "work_min": work_min,
        "crew": crew,
        "place": place,
        "cure_min": cure_min,
        "cure_holds": cure_holds,
        "due_on": due_on,
    }
    if left_min is not None:
        values |= {"left_min": left_min, "left_said_at": now}
    changed = change(stage, values, version=version, by=by, now=now, job=stage.piece.job)
    changed.follows.set(follows)
    return changed


def _refuse_ring(stage: Stage, kind: StageKind, follows: Collection[Stage]) -> None:
    """A ring that this stage is in; another's does not keep anybody from mending this one."""
    if stage in follows:
        raise Refused(f"{stage} cannot follow itself. Choose another stage.")
    stages = list(Stage.objects.filter(piece__job=stage.piece.job_id).select_related("kind", "piece"))
    for row in stages:
        if row.pk == stage.pk:
            row.kind = kind
    if strangers := [other for other in follows if other not in stages]:
        raise Refused(f"{strangers[0]} belongs to another job. Choose stages of this one.")
    chosen: dict[int, list[int]] = {}
    links = Stage.follows.through.objects.filter(from_stage__piece__job=stage.piece.job_id)
    for link in links.exclude(from_stage=stage.pk):
        chosen.setdefault(link.from_stage_id, []).append(link.to_stage_id)
    chosen[stage.pk] = [other.pk for other in follows]
    if round_about := ring(_through(stage.pk, followed(stages, chosen))):
        named = {other.pk: f"{other} of {other.piece}" for other in stages}
        waits = round_about[:0:-1]
        first = waits.index(stage.pk) if stage.pk in waits else 0
        order = ", which waits for ".join(named[pk] for pk in [*waits[first:], *waits[:first], waits[first]])
        raise Refused(f"That goes round in a ring: {order}. Choose other stages to follow.")


def _through(stage: int, following: Followed) -> Followed:
    """The stages that wait for this one and for which it waits: what a ring through it is made of."""
    return {
        other: following[other] for other in sorted(_behind(stage, following)) if stage in _behind(other, following)
    }


def _behind(stage: int, following: Followed) -> set[int]:
    """All that a stage waits for, however far back; with itself in it only where it is in a ring."""
    found: set[int] = set()
    ask = [stage]
    while ask:
        further = following[ask.pop()] - found
        found |= further
        ask += further
    return found


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
    pass_on([stage])
    stage.delete()


def pass_on(going: Collection[Stage]) -> None:
    """Whatever was chosen to follow stages that are ``going`` follows what they follow; else it would follow nothing."""
    gone = {stage.pk for stage in going}
    links = Stage.follows.through.objects
    choosers = set(links.filter(to_stage__in=gone).exclude(from_stage__in=gone).values_list("from_stage_id", flat=True))
    if not choosers:
        return
    stages = Stage.objects.filter(piece__job__in={stage.piece.job_id for stage in going})
    chosen: dict[int, set[int]] = defaultdict(set)
    for stage, other in links.filter(from_stage__in=stages).values_list("from_stage_id", "to_stage_id"):
        chosen[stage].add(other)
    following = followed(stages.select_related("kind", "piece"), chosen)
    for chooser in choosers:
        Stage(pk=chooser).follows.set(_past(chosen[chooser], gone, following) - {chooser})


def _past(followed_now: Collection[int], gone: Collection[int], following: Followed) -> set[int]:
    """The nearest before a stage that are not ``gone``."""
    found, seen, ask = set(), set(), list(followed_now)
    while ask:
        stage = ask.pop()
        if stage not in gone:
            found.add(stage)
        elif stage not in seen:
            seen.add(stage)
            ask += following[stage]
    return found


def finish_for(
    stage: Stage, *, whose: Person, done_at: datetime, entry_id: UUID, sentence: str = "", by: Person, now: datetime
) -> Entry:
    """The lead says that somebody has finished a stage, and when. It is as if they had logged it, but the lead's word.

    ``done_at`` is when the work ended, from which its cure counts. Raises Refused for an hour to come, or a year gone.
    """
    if done_at > now:
        raise Refused("That is still to come. Write the day and hour when it was finished.")
    if done_at < now - LONGEST_AGO:
        raise Refused("That is more than a year ago. Write the day and hour when it was finished.")
    return log_at_bench(
        entry_id=entry_id,
        stage=stage,
        says=Says.DONE,
        sentence=sentence,
        by=by,
        now=now,
        done_by=whose,
        done_at=done_at,
    )
