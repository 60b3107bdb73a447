"""A job's word, its place among the others, and the sentence over the page."""

from datetime import date, timedelta

import pytest

from studio.office.linked import plain
from studio.office.standing import Missed, Rank, Standing, days, headline, standing, stands
from studio.workshop.planning import EndTold
from tests.office.plans import AMMONITE, READY, VAN, job, told

pytestmark = pytest.mark.once

LONG_AGO = date(2020, 1, 1)


def one(
    name: str = "Ammonite",
    hand: int | None = 5,
    *,
    pk: int = AMMONITE,
    held: bool = False,
    over: bool | None = None,
    van: date | None = VAN,
    left: bool = True,
    fixed: bool = False,
    cut: bool = False,
) -> Standing:
    row = job(pk, name, van, fixed=fixed)
    seen = told(hand=hand, held=held, over=over, job=pk, due=van, cut=cut)
    return standing(row, seen, left=left, client="Harbour Museum")


def unknown(name: str = "Ammonite", *, left: bool = True, known: bool = True) -> Standing:
    seen = EndTold(AMMONITE, None, None, over=False, held=False, causes=(), due=VAN)
    return standing(job(name=name), seen if known else None, left=left, client="")


def moved(van: date | None = VAN, before: date | None = LONG_AGO, *, left: bool = True) -> Standing:
    """Its van was another one when the plan was drawn."""
    seen = told(hand=None if before is None else -310, over=before is not None, due=before)
    return standing(job(van=van), seen, left=left, client="")


def said(*found: Standing, planned: bool = True) -> str:
    ordered = sorted(found, key=lambda each: each.place)
    return plain(headline(ordered, planned=planned)).replace("\N{NO-BREAK SPACE}", " ")


def word(of: Standing) -> str:
    return of.word.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("half_days", "expected"),
    [(0, "no day"), (1, "½ day"), (2, "1 day"), (3, "1½ days"), (4, "2 days"), (25, "12½ days")],
)
def test_days_are_told_in_halves(half_days: int, expected: str) -> None:
    assert days(half_days).replace("\N{NO-BREAK SPACE}", " ") == expected


@pytest.mark.parametrize(
    ("found", "rank", "expected"),
    [
        (one(hand=-2), Rank.OVER, "2 days over"),
        (one(hand=0, over=True), Rank.OVER, "½ day over"),
        (one(hand=-1, held=True), Rank.OVER, "at best 1 day over"),
        (one(hand=-310, van=LONG_AGO, cut=True), Rank.OVER, "more than a year over"),
        (one(hand=-310, van=LONG_AGO, cut=True, held=True), Rank.OVER, "at best more than a year over"),
        (one(hand=0, van=READY - timedelta(days=366), cut=True, over=True, left=False), Rank.OVER, "over"),
        (one(hand=0), Rank.TIGHT, "tight, no day in hand"),
        (one(hand=2), Rank.TIGHT, "tight, 2 days in hand"),
        (one(hand=3), Rank.CLEAR, "3 days in hand"),
        (one(hand=3, fixed=True), Rank.TIGHT, "tight, 3 days in hand"),
        (one(hand=4, fixed=True), Rank.CLEAR, "4 days in hand"),
        (one(hand=5, held=True), Rank.CLEAR, "at best 5 days in hand"),
        (one(hand=1, held=True), Rank.TIGHT, "at best tight, 1 day in hand"),
        (one(hand=None, van=None), Rank.NO_VAN, "no van yet"),
        (one(hand=5, van=None), Rank.NO_VAN, "no van yet"),
        (one(hand=1, left=False), Rank.CLEAR, "done"),
        (one(hand=-1, left=False), Rank.OVER, "1 day over"),
        (unknown(), Rank.UNSURE, "no day yet"),
        (unknown(left=False), Rank.UNSURE, "nothing set out yet"),
        (unknown(known=False), Rank.UNSURE, "not in the plan yet"),
        (moved(), Rank.UNSURE, "being planned anew"),
        (moved(before=None), Rank.UNSURE, "being planned anew"),
        (moved(left=False), Rank.UNSURE, "being planned anew"),
        (moved(van=None), Rank.NO_VAN, "no van yet"),
    ],
)
def test_a_job_has_a_word_and_a_rank(found: Standing, rank: Rank, expected: str) -> None:
    """Tight is up to two worked days in hand, or three where the day cannot move."""
    assert (found.rank, word(found)) == (rank, expected)


@pytest.mark.parametrize("found", [moved(), moved(before=None), moved(van=None)])
def test_what_the_plan_says_against_another_van_is_not_told(found: Standing) -> None:
    assert (found.told, found.ready, found.hand, found.held, found.finished) == (None, None, 0, False, False)


def test_a_deadline_without_a_day_has_no_word() -> None:
    assert stands(told(hand=None), fixed=False) == ""


def test_the_worst_first() -> None:
    """What is held stands by the best that it can be."""
    over, later, unsure, tight = one("a", -5), one("b", -1), unknown("c"), one("d", 1)
    clear, held, no_van = one("e", 4), one("f", 9, held=True), one("g", None, van=None)
    found = [no_van, held, tight, clear, unsure, later, over]
    assert [each.job.name for each in sorted(found, key=lambda each: each.place)] == list("abcdefg")


def test_what_is_over_by_more_than_was_counted_comes_by_all_of_its_days() -> None:
    """Only 310 worked days of seven years were counted, and all 320 of the one whose van left later."""
    long_ago, longer_ago = (
        one(name, -310, van=LONG_AGO - timedelta(days=days), cut=True) for name, days in (("b", 0), ("a", 1))
    )
    found = [one("c", -320, pk=1), long_ago, longer_ago]
    assert [each.job.name for each in sorted(found, key=lambda each: each.place)] == ["a", "b", "c"]
    assert said(*found) == "A is more than a year over its van. Two more are over."
    own: Missed = ("sample of d", "#stage-1", told(hand=-290, due=LONG_AGO - timedelta(days=2), cut=True))
    answer = plain(headline(sorted(found, key=lambda each: each.place), planned=True, missed=[own]))
    assert answer == "Sample of d is more than a year over the day of its own. Three jobs are over their vans."
    later: Missed = ("sample of d", "#stage-1", told(hand=-315, due=LONG_AGO + timedelta(days=2), cut=True))
    assert plain(headline([longer_ago], planned=True, missed=[later])).startswith("A is more than a year")


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        ([], "Nothing on the bench. Set out a job."),
        ([one(hand=-2)], "Ammonite is 2 days over its van."),
        (
            [one(hand=-2), one("a", 1), one("b", 1), one("c", 1)],
            "Ammonite is 2 days over its van. Three more are tight.",
        ),
        ([one(hand=-2), one("a", -1)], "Ammonite is 2 days over its van. One more is over."),
        (
            [one(hand=-2), one("a", -1), one("b", -1), one("c", 1)],
            "Ammonite is 2 days over its van. Two more are over, and one is tight.",
        ),
        ([one(hand=-2, held=True)], "Ammonite is at best 2 days over its van."),
        ([one(hand=-310, van=LONG_AGO, cut=True)], "Ammonite is more than a year over its van."),
        ([one(hand=5, held=True), one("a", 1)], "Both jobs clear their vans. Only a is tight."),
        ([unknown(), one("a", 9)], "Ammonite has no day yet."),
        ([unknown(), unknown("b"), unknown("c")], "Ammonite has no day yet. Two more have no sure day."),
        ([unknown(known=False), unknown("b")], "Ammonite is not in the plan yet. One more has no sure day."),
        ([unknown(left=False)], "Ammonite has nothing set out yet."),
        ([moved(), one("a", 9)], "Ammonite is being planned anew."),
        ([moved(van=None)], "No job has a van yet."),
        ([one(hand=1)], "Ammonite clears its van: tight, 1 day in hand."),
        ([one("snail trail", 7)], "Snail trail clears its van: 7 days in hand."),
        ([one(hand=7), one("a", None, van=None)], "Ammonite clears its van: 7 days in hand. One more has no van yet."),
        ([one(hand=7, left=False)], "Ammonite clears its van: done."),
        ([one(hand=7), one("Snail trail", 4)], "Both jobs clear their vans. The tightest is Snail trail."),
        ([one(hand=7), one("Snail trail", 1)], "Both jobs clear their vans. Only Snail trail is tight."),
        (
            [one(str(number), 4 + number) for number in range(9)],
            "All nine jobs clear their vans. The tightest is 0.",
        ),
        (
            [one("a", 1), one("b", 2), one("c", 9), one("d", None, van=None)],
            "All three jobs with a van clear it. Two are tight, a the most.",
        ),
        ([one("a", None, van=None)], "No job has a van yet."),
    ],
)
def test_the_sentence_over_the_page(found: list[Standing], expected: str) -> None:
    assert said(*found) == expected


def test_before_the_first_plan() -> None:
    assert said(unknown(known=False), planned=False) == "The plan is being drawn."


def test_the_name_leads_to_its_line() -> None:
    assert headline([one(hand=-2)], planned=True)[0] == ("Ammonite", f"#job-{AMMONITE}")
    assert headline([], planned=True)[1] == ("Set out a job", "/office/jobs/new/")
