"""What each stage waits for, when nobody chose it: the one before it, and where pieces meet, the others (common practice,
no source: construction is finished and fitted together before any decoration starts)."""

import random

import pytest

from studio.workshop import actions
from studio.workshop.models import Job, Stage, StageKind
from studio.workshop.planning.following import followed, ring
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db


def stages(job: Job) -> list[Stage]:
    return list(Stage.objects.filter(piece__job=job).select_related("kind", "piece"))


def names(job: Job, chosen: dict[int, list[int]] | None = None) -> dict[str, set[str]]:
    rows = {stage.pk: f"{stage.piece}: {stage}" for stage in stages(job)}
    return {
        rows[stage]: {rows[other] for other in others} for stage, others in followed(stages(job), chosen or {}).items()
    }


def ammonite(*bracket: str, alone: bool = False) -> Job:
    """A shell that is cast, and a bracket of timber beside it."""
    job = builders.job("Shell", stages=("mould", "lay-up", "fit-up", "prime"))
    piece = actions.add_piece(job, name="Bracket", stands_alone=alone, by=builders.lead(), now=NOW)
    for kind in bracket:
        actions.add_stage(piece, kind=StageKind.objects.get(name=kind), by=builders.lead(), now=NOW)
    return job


def test_each_stage_follows_the_one_before_it_in_its_piece() -> None:
    assert names(builders.job("Snail", stages=("mould", "lay-up", "paint"))) == {
        "Snail: mould": set(),
        "Snail: lay-up": {"Snail: mould"},
        "Snail: paint": {"Snail: lay-up"},
    }


def test_pieces_run_side_by_side_and_meet_at_fit_up() -> None:
    found = names(ammonite("carpentry", "fit-up", "paint"))
    assert found["Bracket: carpentry"] == set()
    assert found["Shell: fit-up"] == {"Shell: lay-up", "Bracket: carpentry"}
    assert found["Bracket: fit-up"] == {"Bracket: carpentry", "Shell: lay-up"}
    assert found["Shell: prime"] == {"Shell: fit-up"}
    assert found["Bracket: paint"] == {"Bracket: fit-up"}


def test_a_piece_without_fit_up_is_waited_for_until_it_is_made_not_until_it_is_painted() -> None:
    found = names(ammonite("carpentry", "filling", "paint", "pack"))
    assert found["Shell: fit-up"] == {"Shell: lay-up", "Bracket: filling"}
    assert found["Bracket: paint"] == {"Bracket: filling"}


def test_a_piece_of_which_nothing_is_made_holds_nobody_up() -> None:
    assert names(ammonite("paint", "pack"))["Shell: fit-up"] == {"Shell: lay-up"}
    assert names(ammonite())["Shell: fit-up"] == {"Shell: lay-up"}


def test_a_piece_that_stands_alone_neither_waits_nor_is_waited_for() -> None:
    found = names(ammonite("carpentry", "fit-up", alone=True))
    assert found["Shell: fit-up"] == {"Shell: lay-up"}
    assert found["Bracket: fit-up"] == {"Bracket: carpentry"}


def test_a_fit_up_that_comes_first_holds_nobody_up() -> None:
    assert names(ammonite("fit-up", "carpentry"))["Shell: fit-up"] == {"Shell: lay-up"}


def test_what_somebody_chose_replaces_the_usual_order() -> None:
    job = ammonite("carpentry")
    shell = {str(stage): stage.pk for stage in stages(job)}
    found = names(job, {shell["fit-up"]: [shell["mould"]], shell["carpentry"]: [shell["mould"]]})
    assert found["Shell: fit-up"] == {"Shell: mould"}
    assert found["Bracket: carpentry"] == {"Shell: mould"}


def test_jobs_never_meet() -> None:
    one, other = builders.job("One", stages=("carving", "fit-up")), builders.job("Other", stages=("carving", "fit-up"))
    together = followed(stages(one) + stages(other), {})
    assert together == followed(stages(one), {}) | followed(stages(other), {})


@pytest.mark.once
def test_a_ring_is_named_and_none_is_empty() -> None:
    assert ring({1: frozenset(), 2: frozenset({1}), 3: frozenset({1, 2})}) == []
    found = ring({1: frozenset({3}), 2: frozenset({1}), 3: frozenset({2}), 4: frozenset()})
    assert found[0] == found[-1]
    assert set(found) == {1, 2, 3}
    assert ring({7: frozenset({7})}) == [7, 7]


def test_what_is_next_up_is_what_waits_for_nothing() -> None:
    """The database is asked for the same rule; both answer for jobs of every shape, with chosen arcs."""
    draw = random.Random(7)
    kinds = ("carpentry", "mould", "lay-up", "fit-up", "filling", "paint")
    seen = {"waiting": 0, "meeting": 0, "chosen": 0}
    for number in range(40):
        job = builders.job(f"Job {number}", stages=draw.choices(kinds, k=draw.randrange(1, 5)))
        for piece in range(draw.randrange(3)):
            made = actions.add_piece(
                job, name=f"Piece {piece}", stands_alone=draw.random() < 0.2, by=builders.lead(), now=NOW
            )
            for kind in draw.choices(kinds, k=draw.randrange(5)):
                actions.add_stage(made, kind=StageKind.objects.get(name=kind), by=builders.lead(), now=NOW)
        rows = stages(job)
        chosen: dict[int, list[int]] = {}
        for stage in rows:
            if len(rows) > 1 and draw.random() < 0.3:
                others = draw.sample([other for other in rows if other != stage], k=1)
                stage.follows.set(others)
                chosen[stage.pk] = [other.pk for other in others]
        waits_for = followed(rows, chosen)
        done: set[int] = set()
        for stage in sorted(rows, key=lambda row: (row.position, row.pk)):
            if waits_for[stage.pk] <= done and draw.random() < 0.6:
                done.add(stage.pk)
        Stage.objects.filter(pk__in=done).update(done_at=NOW, done_by=builders.lead())
        left = {pk: waits - done for pk, waits in waits_for.items() if pk not in done}
        expected = {pk for pk, waits in left.items() if not waits}
        assert set(Stage.objects.filter(piece__job=job).next_up().values_list("pk", flat=True)) == expected, number
        seen["waiting"] += len(left) - len(expected)
        seen["meeting"] += sum(row.kind.meets and bool(left.get(row.pk)) for row in rows)
        seen["chosen"] += sum(pk in left for pk in chosen)
    assert all(count > 10 for count in seen.values()), seen
