"""What may help: the act that answers to what is most in the way, and the page where it is done."""

from datetime import date

import pytest

from studio.craft.causes import Why
from studio.office.linked import plain
from studio.office.names import Names, StageNamed
from studio.office.remedies import remedy
from studio.workshop.planning import CauseTold, EndTold

pytestmark = pytest.mark.once
NAMES = Names(
    stages={
        1: StageNamed("mould", "Ammonite", 7, "Ammonite", "mould bench"),
        2: StageNamed("filling", "Post and lamp", 8, "Leaning lamp post", "floor"),
    },
    people={3: "Bo"},
    stuck={1: 5},
)


def told(why: Why, *, maker: int | None = None) -> EndTold:
    cause = CauseTold(why, 4, 1, other=2, other_job=8, place=6, maker=maker)
    return EndTold(7, date(2026, 3, 12), -2, over=True, held=False, causes=(cause,))


@pytest.mark.parametrize(
    ("why", "words", "addresses"),
    [
        (
            Why.MAKER,
            "somebody else for filling of Post and lamp, somebody else for its mould or a longer day for Bo",
            ["/office/stages/2/", "/office/stages/1/", "/office/people/3/work/"],
        ),
        (
            Why.PLACE,
            "another place for its mould, another place for filling of Post and lamp or room for one more there",
            ["/office/stages/1/", "/office/stages/2/", "/office/places/"],
        ),
        (
            Why.AWAY,
            "somebody else for its mould or another van day",
            ["/office/stages/1/", "/office/jobs/7/change/"],
        ),
        (
            Why.CLOSED,
            "working on one of those days, a longer day for somebody or another van day",
            ["/office/closures/", "/office/people/", "/office/jobs/7/change/"],
        ),
        (Why.HELD, "an answer today", ["/office/stuck/5/"]),
        (
            Why.CURE,
            "something that need not wait until its mould is hard or another van day",
            ["/office/stages/1/", "/office/jobs/7/change/"],
        ),
        (
            Why.WORK,
            "more people at its mould, a longer day for somebody or another van day",
            ["/office/stages/1/", "/office/people/", "/office/jobs/7/change/"],
        ),
    ],
)
def test_each_cause_has_its_acts(why: Why, words: str, addresses: list[str]) -> None:
    said = remedy(told(why, maker=3), NAMES)
    assert plain(said) == f"What may help: {words}."
    assert [address for _, address in said if address] == addresses


def test_every_cause_is_answered() -> None:
    assert all(plain(remedy(told(why), NAMES)).startswith("What may help: ") for why in Why)


def test_what_waits_for_nothing_needs_no_help() -> None:
    assert remedy(EndTold(7, date(2026, 3, 12), 5, over=False, held=False, causes=()), NAMES) == ()
