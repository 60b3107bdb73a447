"""The usual order of the work, and what a method sets out (common practice, no source)."""

from decimal import Decimal

import pytest

from studio.craft.methods import METHODS, PLACES, WORKS, pieces, scaled_min

pytestmark = pytest.mark.once
BY_KEY = {method.key: method for method in METHODS}


def test_every_kind_of_work_has_a_place_and_every_method_knows_its_works() -> None:
    places = {name for name, _ in PLACES}
    assert {work.place for work in WORKS} <= places
    works = {work.key for work in WORKS}
    assert len(works) == len(WORKS)
    for method in METHODS:
        assert {*method.once, *method.each} <= works


def test_construction_is_fitted_together_before_anything_is_painted() -> None:
    for method in METHODS:
        order = method.once + method.each
        assert order.index("fit-up") < order.index("prime") < order.index("paint") < order.index("pack")
        assert all(
            order.index(work) < order.index("fit-up")
            for work in order
            if work in {"carving", "mould", "lay-up", "filling"}
        )


def test_a_mould_cures_for_one_to_three_days_and_a_cast_for_half_to_one() -> None:
    hours = {work.key: work.cure_min / 60 for work in WORKS}
    assert 24 <= hours["mould"] <= 72
    assert 12 <= hours["lay-up"] <= 24
    assert 12 <= hours["prime"] <= 24


def test_one_copy_is_one_piece() -> None:
    (only,) = pieces(BY_KEY["cast"], "Ammonite", 1)
    assert (only.name, only.waits_for, only.stands_alone) == ("Ammonite", None, False)
    assert only.works[:3] == ("modelling", "mould", "lay-up")


def test_of_several_casts_the_mould_is_made_once_and_makes_one_after_the_other() -> None:
    mould, *casts = pieces(BY_KEY["cast"], "Snail", 5)
    assert (mould.name, mould.works, mould.waits_for) == ("Snail, mould", ("modelling", "mould"), None)
    assert [cast.name for cast in casts] == [f"Snail {number} of 5" for number in range(1, 6)]
    assert [cast.waits_for for cast in casts] == [0, 1, 2, 3, 4]
    assert all(cast.works[0] == "lay-up" and cast.stands_alone for cast in casts)


def test_several_that_are_carved_wait_for_nobody() -> None:
    boots = pieces(BY_KEY["carved"], "Boot", 2)
    assert [(boot.name, boot.waits_for) for boot in boots] == [("Boot 1 of 2", None), ("Boot 2 of 2", None)]


@pytest.mark.parametrize(
    ("minutes", "longest_m", "scaled"),
    [
        (480, None, 480),
        (480, "1", 480),
        (480, "0.1", 240),
        (480, "2.1", 1005),
        (480, "9", 1440),
        (20, "0.5", 15),
        (0, "2", 0),
    ],
)
def test_minutes_go_with_the_longest_side_between_half_a_metre_and_three(
    minutes: int, longest_m: str | None, scaled: int
) -> None:
    assert scaled_min(minutes, Decimal(longest_m) if longest_m else None) == scaled
