"""What each stage of a job follows, in words."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from studio.office.wording import listed, many
from studio.workshop.models import Stage
from studio.workshop.planning.following import Followed, followed

FEW = 6


@dataclass(frozen=True)
class Order:
    """The stages of a job, in the order of its pieces; ``chosen`` holds by stage what somebody chose for it to follow."""

    stages: dict[int, Stage]
    following: Followed
    chosen: dict[int, set[int]]


def order_of(job: int) -> Order:
    """With two questions, however many stages there are."""
    rows = Stage.objects.filter(piece__job=job).select_related("kind", "piece", "maker", "done_by", "place")
    stages = {stage.pk: stage for stage in rows.order_by("piece__position", "piece_id", "position", "pk")}
    chosen: dict[int, set[int]] = defaultdict(set)
    links = Stage.follows.through.objects.filter(from_stage__piece__job=job)
    for stage, other in links.values_list("from_stage_id", "to_stage_id"):
        chosen[stage].add(other)
    return Order(stages, followed(stages.values(), chosen), dict(chosen))


def told(order: Order, stage: Stage) -> str:
    """What it follows; where somebody chose that, also what would be usual."""
    first = _follows(order, stage, order.following[stage.pk])
    if stage.pk not in order.chosen:
        return f"{first}."
    usual = followed(order.stages.values(), {pk: others for pk, others in order.chosen.items() if pk != stage.pk})
    said = _named(order, stage, usual[stage.pk])
    return f"{first}: somebody chose that. Usual would be {said or 'nothing'}."


def not_done_before(order: Order, stage: Stage) -> str:
    """Of a stage that is done: what it follows, and is not done; empty where all of it is."""
    waits = [pk for pk in order.following[stage.pk] if not order.stages[pk].done_at]
    if not waits:
        return ""
    return f"It follows {_named(order, stage, waits)}, which {'is' if len(waits) == 1 else 'are'} not done."


def _follows(order: Order, stage: Stage, others: Collection[int]) -> str:
    named = _named(order, stage, others)
    return f"It follows {named}" if named else "It follows nothing"


def _named(order: Order, stage: Stage, others: Iterable[int]) -> str:
    """``mould of this piece, and carpentry of Wall bracket``"""
    rows = [other for other in order.stages.values() if other.pk in set(others)]
    mine = [str(other) for other in rows if other.piece_id == stage.piece_id]
    theirs = [f"{other} of {other.piece}" for other in rows if other.piece_id != stage.piece_id]
    named = ([f"{listed(mine)} of this piece"] if mine else []) + theirs
    if len(named) > FEW:
        return f"{', '.join(named[:FEW])} and {many(len(named) - FEW, 'more stage')}"
    return ", and ".join(filter(None, [", ".join(named[:-1]), *named[-1:]]))
