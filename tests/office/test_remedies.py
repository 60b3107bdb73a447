"""What helps: the acts that were tried, in words, each with the page where it is done and the days that it brings."""

from datetime import date

import pytest

from studio.craft.causes import Why
from studio.office.linked import plain
from studio.office.names import Names, StageNamed
from studio.office.remedies import remedy
from studio.workshop.planning import Act, CauseTold, EndTold, Help, Longer
from tests.office.plans import plan

pytestmark = pytest.mark.once
NAMES = Names(
    plan=plan(day=date(2026, 3, 10), longer={3: Longer("2026-03-10", "2026-03-23", "17:00", "19:00")}),
    stages={
        1: StageNamed("mould", "Ammonite", 7, "Ammonite", "mould bench", crew=2),
        2: StageNamed("filling", "Post and lamp", 8, "Leaning lamp post", "floor"),
    },
    people={3: "Bo"},
    stuck={1: 5},
)


def told(*helps: Help, over: bool = True, ready: date | None = date(2026, 3, 12)) -> EndTold:
    cause = CauseTold(Why.PLACE, 4, 1, other=2, other_job=8, place=6)
    return EndTold(7, ready, -2 if over else 1, over=over, held=False, causes=(cause,), helps=helps)


@pytest.mark.parametrize(
    ("act", "subject", "words", "address"),
    [
        (Act.ANSWER, 1, "an answer today for its mould", "/office/stuck/5/"),
        (Act.OTHERS, 1, "its mould given to somebody else", "/office/stages/1/"),
        (Act.OTHERS, 2, "filling of Post and lamp given to somebody else", "/office/stages/2/"),
        (Act.MORE, 2, "two people at filling of Post and lamp, each for less long", "/office/stages/2/"),
        (Act.FEWER, 1, "one person at its mould, for longer", "/office/stages/1/"),
        (
            Act.LONGER,
            3,
            "two hours more a day from Bo for two weeks",
            "/office/people/3/days/?first_day=2026-03-10&last_day=2026-03-23&starts=17%3A00&ends=19%3A00#longer",
        ),
        (Act.ROOM, 6, "room for one more at the mould bench", "/office/places/6/?room=more"),
        (Act.OPEN, 0, "working on the closed days", "/office/closures/"),
    ],
)
def test_each_act_has_its_words_and_its_page(act: Act, subject: int, words: str, address: str) -> None:
    said = remedy(told(Help(act, subject, 3), over=False), NAMES)
    assert plain(said) == f"What helps: {words} (1½\N{NO-BREAK SPACE}days)."
    assert [to for _, to in said if to] == [address]


def test_what_is_over_can_always_have_another_day() -> None:
    said = remedy(told(Help(Act.LONGER, 3, 2)), NAMES)
    assert plain(said) == (
        "What helps: two hours more a day from Bo for two weeks (1\N{NO-BREAK SPACE}day) or another van day: Thu 12 Mar."
    )
    assert said[-2][1] == "/office/jobs/7/change/?van_day=2026-03-12"
    own = remedy(told(), NAMES, own=2)
    assert (plain(own), own[-2][1]) == (
        "What helps: another day for it: Thu 12 Mar.",
        "/office/stages/2/?due_on=2026-03-12",
    )


def test_nothing_is_said_where_nothing_helps_or_no_day_is_known() -> None:
    assert remedy(told(over=False), NAMES) == ()
    assert remedy(told(Help(Act.LONGER, 3, 2), ready=None), NAMES) == ()
