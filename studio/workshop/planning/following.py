"""Which stages each stage waits for: its own choice where somebody made one, else the usual order of the work."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

from studio.workshop.models import Stage

Followed = dict[int, frozenset[int]]


def followed(stages: Iterable[Stage], chosen: Mapping[int, Iterable[int]]) -> Followed:
    """By stage, the stages it waits for. ``stages`` come with kind and piece; ``chosen`` holds what somebody chose.

    The usual order: each stage follows the one before it in its piece; and where the pieces of a job meet (at fit-up), it
    also follows what must be ready of the other pieces: what comes before they meet, or, where one never does, the last
    that is made of it before that kind of work. A piece that stands alone neither waits nor is waited for.

    A choice replaces that; but one of stages of other pieces alone adds to the one before it in its own.
    """
    jobs: dict[int, dict[int, list[Stage]]] = defaultdict(lambda: defaultdict(list))
    for stage in stages:
        jobs[stage.piece.job_id][stage.piece_id].append(stage)
    found: Followed = {}
    for pieces in jobs.values():
        ordered = [sorted(of_piece, key=lambda stage: (stage.position, stage.pk)) for of_piece in pieces.values()]
        for row in ordered:
            for place, stage in enumerate(row):
                before = {row[place - 1].pk} if place else set()
                if wanted := {*chosen.get(stage.pk, ())}:
                    of_its_own = not wanted.isdisjoint(other.pk for other in row)
                    found[stage.pk] = frozenset(wanted if of_its_own else wanted | before)
                    continue
                if stage.kind.meets and not stage.piece.stands_alone:
                    others = (other for other in ordered if other is not row and not other[0].piece.stands_alone)
                    before |= {ready.pk for other in others if (ready := _ready_for(stage, other))}
                found[stage.pk] = frozenset(before)
    return found


def _ready_for(meeting: Stage, other: Sequence[Stage]) -> Stage | None:
    """The stage of another piece that must be over when the pieces meet."""
    where = next((place for place, stage in enumerate(other) if stage.kind.meets), None)
    if where is not None:
        return other[where - 1] if where else None
    made = [stage for stage in other if stage.kind.position < meeting.kind.position]
    return made[-1] if made else None


def ring(following: Followed) -> list[int]:
    """The stages of a ring in which each waits for the next, empty where there is none."""
    try:
        TopologicalSorter(following).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []
