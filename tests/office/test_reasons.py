"""Causes and problems of a plan, as sentences with links."""

from dataclasses import replace
from datetime import date

import pytest

from studio.craft.causes import Why
from studio.craft.stages import Trouble
from studio.office.linked import html, parts, plain
from studio.office.names import Names
from studio.office.reasons import held, problems, reason
from studio.workshop.planning import LOGGED_AHEAD, CauseTold, ProblemTold
from tests.office.plans import (
    ADA,
    AMMONITE,
    BO,
    BOOTH,
    MOULD,
    PAINT,
    SNAIL_3,
    SNAIL_4,
    SNAILS,
    TODAY,
    cause,
    names,
    plan,
    told,
)

pytestmark = pytest.mark.once

WEDNESDAY = date(2026, 12, 2)
IN_BOOTH = cause(Why.PLACE, 4, PAINT, other=SNAIL_4, other_job=SNAILS, place=BOOTH)


def said(*causes: CauseTold, hand: int | None = 3, over: bool | None = None, known: Names | None = None) -> str:
    found = plain(reason(told(*causes, hand=hand, over=over), known or names(plan(starts={PAINT: WEDNESDAY}))))
    return found.replace("\N{NO-BREAK SPACE}", " ")


def wrong(*found: ProblemTold) -> list[str]:
    return [plain(one) for one in problems(found, names())]


def trouble(kind: str, stage: int = MOULD, *others: int, number: int = 0) -> ProblemTold:
    return ProblemTold(kind, AMMONITE, stage, others, number)


@pytest.mark.parametrize(
    ("one", "expected"),
    [
        (IN_BOOTH, "The booth is held by Snail trail until Wed 2 Dec: 2 days."),
        (
            cause(Why.PLACE, 2, PAINT, other=MOULD, other_job=AMMONITE, place=BOOTH),
            "The booth is held by mould of Ammonite until Wed 2 Dec: 1 day.",
        ),
        (
            cause(Why.MAKER, 1, PAINT, other=SNAIL_3, other_job=SNAILS, maker=BO),
            "Bo is busy with lay-up of Snail 3 until Wed 2 Dec: ½ day.",
        ),
        (cause(Why.MAKER, 3, MOULD, other=SNAIL_3), "Whoever can do it is busy with lay-up of Snail 3: 1½ days."),
        (cause(Why.AWAY, 1, PAINT, maker=ADA), "Ada is away: ½ day."),
        (cause(Why.AWAY, 2, PAINT), "Nobody is there for its paint, second coat: 1 day."),
        (cause(Why.CLOSED, 6), "The shop is shut: 3 days."),
        (cause(Why.CURE, 2, PAINT), "Its paint, second coat is not hard until Wed 2 Dec: 1 day."),
        (cause(Why.CURE, 2, MOULD), "Its mould is not hard yet: 1 day."),
        (cause(Why.CURE, 2, SNAIL_3), "Lay-up of Snail 3 is not hard yet: 1 day."),
        (cause(Why.WORK, 5), "There is more work than days, most of it in its mould: 2½ days."),
        (cause(Why.HELD, 2), "Its mould is stuck: 1 day."),
        (cause(Why.MAKER, 2, other=404, maker=404), "Whoever can do it is busy with a stage that is gone: 1 day."),
        (cause(Why.PLACE, 2, 404, place=BOOTH), "Its place is held by a stage that is gone: 1 day."),
    ],
)
def test_each_cause_says_what_is_in_the_way_and_its_days(one: CauseTold, expected: str) -> None:
    assert said(one) == expected


def test_who_did_something_else_earlier_today_was_busy_with_it() -> None:
    plain_names = names(plan(starts={PAINT: WEDNESDAY}))
    done = replace(plain_names, stages={**plain_names.stages, SNAIL_3: replace(plain_names.stages[SNAIL_3], done=True)})
    one = cause(Why.MAKER, 1, PAINT, other=SNAIL_3, other_job=SNAILS, maker=BO)
    assert said(one, known=done) == "Bo was busy with lay-up of Snail 3: ½ day."


def test_days_that_one_stage_cannot_take_are_not_put_to_it_alone() -> None:
    known = names(plan(starts={PAINT: WEDNESDAY, SNAIL_3: WEDNESDAY}))
    long, short = (
        cause(Why.MAKER, half_days, PAINT, other=SNAIL_3, other_job=SNAILS, maker=BO) for half_days in (9, 2)
    )
    assert said(long, known=known) == "Bo is busy until Wed 2 Dec, last with lay-up of Snail 3: 4½ days."
    assert said(short, known=known) == "Bo is busy with lay-up of Snail 3 until Wed 2 Dec: 1 day."


def test_a_job_that_waits_for_nothing_has_no_reason() -> None:
    assert said() == ""


def test_the_causes_of_a_job_that_is_over_are_its_days() -> None:
    away = cause(Why.AWAY, 1, PAINT, maker=BO)
    assert said(IN_BOOTH, hand=-2) == "The booth is held by Snail trail until Wed 2 Dec: all of its 2 days."
    assert said(IN_BOOTH, away, hand=-2) == (
        "The booth is held by Snail trail until Wed 2 Dec: 2 days; Bo is away: ½ day. That is its 2½ days."
    )
    assert said(cause(Why.CURE, 1, MOULD), hand=0, over=True) == "Its mould is not hard yet: all of its ½ day."


def test_causes_of_days_that_were_not_all_counted_are_not_said_to_be_all_of_them() -> None:
    away = cause(Why.AWAY, 1, PAINT, maker=BO)
    for causes, expected in (
        ([IN_BOOTH], "The booth is held by Snail trail until Wed 2 Dec: 2 days."),
        ([IN_BOOTH, away], "The booth is held by Snail trail until Wed 2 Dec: 2 days; Bo is away: ½ day."),
    ):
        found = reason(told(*causes, hand=-310, cut=True), names(plan(starts={PAINT: WEDNESDAY})))
        assert plain(found).replace("\N{NO-BREAK SPACE}", " ") == expected


def test_what_begins_alike_is_said_once() -> None:
    busy = [cause(Why.MAKER, half, MOULD, other=other, maker=BO) for half, other in ((3, SNAIL_3), (1, SNAIL_4))]
    known = names(plan(starts={MOULD: TODAY}))
    assert said(busy[0], IN_BOOTH, busy[1], known=known) == (
        "Bo is busy with lay-up of Snail 3 until later today: 1½ days, and with paint of Snail 4 until later today: "
        "½ day; the booth is held by Snail trail: 2 days."
    ).replace(", and with ", ", and ")


def test_each_cause_leads_to_what_would_change_it() -> None:
    known = names(stuck={MOULD: 9})
    addresses = {
        Why.PLACE: f"/office/jobs/{SNAILS}/",
        Why.MAKER: f"/office/stages/{SNAIL_4}/",
        Why.AWAY: f"/office/people/{BO}/days/",
        Why.CLOSED: "/office/closures/",
        Why.CURE: f"/office/stages/{MOULD}/",
        Why.WORK: f"/office/stages/{MOULD}/",
        Why.HELD: "/office/stuck/9/",
    }
    for why in Why:
        found = reason(told(cause(why, 2, other=SNAIL_4, other_job=SNAILS, maker=BO), hand=3), known)
        assert [address for _, address in found if address] == [addresses[why]], why
    assert ("its mould is stuck", f"/office/stages/{MOULD}/") in [
        (words.lower(), address) for words, address in reason(told(cause(Why.HELD, 2), hand=3), names())
    ]
    assert plain(held(MOULD, known)) == "Its mould is stuck."


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        ([trouble(Trouble.NOBODY_CAN)], "Nobody can do its mould. Say who does it."),
        (
            [trouble(Trouble.NOBODY_CAN), trouble(Trouble.NOBODY_CAN, PAINT)],
            "Nobody can do its mould and its paint, second coat. Say who does it.",
        ),
        (
            [trouble(Trouble.TOO_FEW_CAN, number=1)],
            "Its mould takes two people, and only one person can do it. Say who does it, or change its people at once.",
        ),
        (
            [trouble(Trouble.TOO_FEW_CAN, 404, number=0), trouble(Trouble.TOO_FEW_CAN, 405)],
            "A stage that is gone takes more people, and no people can do it. Say who does it. The same holds for one more stage.",
        ),
        ([trouble(Trouble.ZERO_HOURS)], "Its mould has no hours, so the plan takes it for no work. Set its hours."),
        (
            [trouble(Trouble.ZERO_HOURS, stage) for stage in (MOULD, PAINT, SNAIL_3, SNAIL_4)],
            "Its mould, its paint, second coat, lay-up of Snail 3 and one more have no hours, so the plan takes them for no work. "
            "Set their hours.",
        ),
        ([trouble(Trouble.FOLLOWS_ITSELF, MOULD, MOULD)], "Mould of Ammonite follows itself. Choose what it follows."),
        (
            [
                trouble(Trouble.FOLLOWS_ITSELF, MOULD, MOULD, PAINT, SNAIL_3),
                trouble(Trouble.FOLLOWS_ITSELF, PAINT, PAINT, SNAIL_3, MOULD),
                trouble(Trouble.FOLLOWS_ITSELF, SNAIL_3, SNAIL_3, MOULD, PAINT),
            ],
            "Mould of Ammonite waits for lay-up of Snail 3, which waits for paint, second coat of Ammonite, which waits for "
            "mould of Ammonite. Choose what it follows.",
        ),
        (
            [trouble(Trouble.FOLLOWS_NOTHING, MOULD, 404)],
            "Its mould waits for a stage that is not there any more. Choose what comes before.",
        ),
        (
            [trouble(Trouble.MAKER_GONE)],
            "Its mould is given to somebody who is not there. Give it to somebody else.",
        ),
        (
            [trouble(Trouble.NO_SUCH_PLACE)],
            "Its mould has a place that is gone or takes nothing. Mend the places.",
        ),
        ([trouble(Trouble.TOO_LONG)], "Its mould does not end within two years. Check the hours."),
        (
            [trouble(Trouble.OUT_OF_ORDER, PAINT, MOULD)],
            "Its paint, second coat is done, but mould of Ammonite before it is not.",
        ),
        (
            [trouble(Trouble.OUT_OF_ORDER, PAINT, MOULD, SNAIL_3)],
            "Its paint, second coat is done, but mould of Ammonite and lay-up of Snail 3 before it are not.",
        ),
        (
            [trouble(LOGGED_AHEAD)],
            "Its mould is logged for an hour still to come. The clock of this machine was set back, or was wrong then. "
            "Take it back and log it again.",
        ),
        ([trouble("the moon is full")], "Its mould cannot be planned: the moon is full."),
        (
            [ProblemTold("the moon is full", AMMONITE, None)],
            "A stage that is gone cannot be planned: the moon is full.",
        ),
    ],
)
def test_each_trouble_says_what_to_mend(found: list[ProblemTold], expected: str) -> None:
    assert wrong(*found) == [expected]


def test_every_trouble_has_a_sentence_of_its_own() -> None:
    for kind in (*Trouble, LOGGED_AHEAD):
        others = (MOULD,) if kind == Trouble.FOLLOWS_ITSELF else (PAINT,)
        (only,) = wrong(trouble(kind, MOULD, *others))
        assert only.endswith(".")
        assert "cannot be planned:" not in only


def test_the_root_comes_first_and_what_follows_is_counted() -> None:
    behind = [trouble(Trouble.FOLLOWS_TROUBLE, stage, MOULD) for stage in (PAINT, SNAIL_3)]
    found = wrong(*behind, trouble(Trouble.ZERO_HOURS, PAINT), trouble(Trouble.NOBODY_CAN))
    assert [line.split(".")[0] for line in found] == [
        "Nobody can do its mould",
        "Two stages after that wait for it",
        "Its paint, second coat has no hours, so the plan takes it for no work",
    ]


def test_what_follows_a_trouble_of_which_the_plan_says_nothing_is_said_itself() -> None:
    assert wrong(trouble(Trouble.FOLLOWS_TROUBLE)) == ["Its mould waits for what cannot be planned."]


def test_what_was_typed_is_escaped() -> None:
    assert html(parts("<b>", ("Fell & Daughter", "/office/jobs/1/"), "")) == (
        '&lt;b&gt;<a href="/office/jobs/1/">Fell &amp; Daughter</a>'
    )
