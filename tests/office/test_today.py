"""What presses today: in which order, in which words, and at most seven lines."""

from datetime import UTC, date, datetime

import pytest

from studio.office.linked import Parts, plain
from studio.office.names import Names
from studio.office.today import MOST, Press, StuckNow, Waiting, few, pressing
from studio.workshop.models import Job, Needs
from tests.office.plans import AMMONITE, MOULD, PAINT, SNAIL_3, SNAIL_4, SNAILS, TODAY, job, names, plan, told

pytestmark = pytest.mark.once

NOW = datetime(2026, 11, 24, 11, 30, tzinfo=UTC)
TOMORROW = date(2026, 11, 25)


def stuck(number: int = 1, needs: Needs = Needs.MATERIAL, title: str = "") -> StuckNow:
    at = datetime(2026, 11, 24, 10, 42, tzinfo=UTC)
    return StuckNow(number, SNAIL_3, needs, at, "Ada", f"Snail {number}", "lay-up", title)


def lines(
    *jobs: Job,
    stuck: list[StuckNow] | None = None,
    known: Names | None = None,
    waiting: Waiting | None = None,
    next_day: date = TOMORROW,
) -> list[tuple[str, Parts]]:
    return pressing(
        stuck=stuck or [],
        names=known or names(),
        waiting=waiting or Waiting(),
        jobs=jobs,
        today=TODAY,
        next_day=next_day,
        now=NOW,
    )


def words(found: list[tuple[str, Parts]]) -> list[str]:
    return [plain(said) for _, said in found]


def starting(*stages: int, hand: int | None = 1, day: date = TODAY) -> Names:
    of_both = [told(hand=hand, job=number) for number in (AMMONITE, SNAILS)]
    return names(plan(*of_both, starts=dict.fromkeys(stages, TODAY), must_start=stages, day=day))


def test_nothing_presses() -> None:
    assert lines(job()) == []


@pytest.mark.parametrize(
    ("needs", "what"),
    [
        (Needs.MATERIAL, "material"),
        (Needs.HAND, "a hand"),
        (Needs.ANSWER, "an answer"),
        (Needs.BROKE, "it broke"),
    ],
)
def test_what_is_stuck_says_what_who_and_when(needs: Needs, what: str) -> None:
    ((at, said),) = lines(stuck=[stuck(3, needs)])
    assert (at, plain(said)) == ("stuck", f"Snail 3, lay-up is stuck: {what}. Ada, 10:42.")
    assert said[0] == ("Snail 3, lay-up", "/office/stuck/3/")
    assert words(lines(stuck=[stuck(3, title="inside")]))[0].startswith("Snail 3, lay-up, inside is stuck")


def test_what_must_start_today_says_who_where_and_what_is_missed() -> None:
    ((at, said),) = lines(job(), known=starting(MOULD))
    assert at == "start"
    assert plain(said) == "Start mould of Ammonite today, Bo at the mould bench, or its van on Fri 4 Dec is missed."
    assert said[0] == ("Start mould of Ammonite", f"/office/stages/{MOULD}/")
    snails = job(SNAILS, "Snail trail")
    assert words(lines(snails, known=starting(SNAIL_3))) == [
        "Start lay-up of Snail 3 today, Bo at the lay-up bay, or the van of Snail trail on Fri 4 Dec is missed."
    ]
    assert words(lines(job(), known=starting(MOULD, hand=-2)))[0].endswith("or its van is missed by more.")
    assert words(lines(job(van=None), known=starting(MOULD, hand=None)))[0].endswith("or its deadline moves.")


def test_yesterdays_plan_does_not_say_what_must_start_today() -> None:
    assert lines(job(), known=starting(MOULD, day=date(2026, 11, 23))) == []


def test_a_stage_or_a_job_that_is_gone_presses_no_more() -> None:
    assert lines(job(), known=starting(404)) == []
    assert lines(known=starting(MOULD)) == []


def test_what_waits_for_the_lead_leads_there() -> None:
    found = lines(waiting=Waiting(failed=2, taken_back=1, photos=3, words=1, spoilt=True))
    assert [at for at, _ in found] == ["failed", "photos", "spoilt", "your word"]
    assert words(found) == [
        "Two things failed and one stage was taken back after its letter had gone.",
        "Three photos wait for your look.",
        "A photo did not come out. Ask for another.",
        "One stage is done without a photo to show: send word, or say nothing.",
    ]
    acts = ["/office/waiting/", "/office/photos/", "/office/waiting/#spoilt", "/office/photos/#silent"]
    assert [said[0][1] for _, said in found] == acts
    (only,) = lines(waiting=Waiting(taken_back=2))
    assert only[0] == "taken back"
    assert plain(only[1]) == "Two stages were taken back after their letters had gone."


def test_vans_of_today_and_of_the_next_worked_day() -> None:
    friday, monday = date(2026, 11, 27), date(2026, 11, 30)
    found = lines(
        job(3, "Pretzel", monday),
        job(4, "Boot", TODAY),
        job(5, "Arch", date(2026, 12, 1)),
        job(6, "Can", date(2026, 11, 23)),
        job(7, "Bone", None),
        job(8, "Lamp", friday),
        next_day=monday,
    )
    assert words(found) == [
        "The van of Boot leaves today.",
        "The van of Lamp leaves on Fri 27 Nov.",
        "The van of Pretzel leaves on Mon 30 Nov.",
    ]
    assert found[0][1][1] == ("Boot", "/office/jobs/4/")
    assert words(lines(job(3, "Pretzel", TOMORROW))) == ["The van of Pretzel leaves tomorrow."]


def test_the_most_pressing_comes_first() -> None:
    found = lines(
        job(),
        job(3, "Pretzel", TODAY),
        stuck=[stuck()],
        known=starting(MOULD),
        waiting=Waiting(failed=1, photos=1, words=1, spoilt=True),
    )
    assert [at for at, _ in found] == ["stuck", "start", "failed", "photos", "spoilt", "your word", "van"]
    assert len(found) == MOST


def test_too_many_are_gathered_and_none_is_dropped() -> None:
    found = lines(
        job(),
        job(SNAILS, "Snail trail"),
        *(job(30 + number, f"Boot {number}", TODAY) for number in range(3)),
        stuck=[stuck(number) for number in range(1, 6)],
        known=starting(MOULD, PAINT, SNAIL_3, SNAIL_4),
        waiting=Waiting(photos=2),
    )
    assert len(found) == MOST
    assert [at for at, _ in found] == ["stuck", "stuck", "stuck", "stuck", "start", "photos", "van"]
    assert words(found)[2:] == [
        "Snail 3, lay-up is stuck: material. Ada, 10:42.",
        "Two more stages are stuck.",
        "Start today, or a van is missed: mould of Ammonite, paint, second coat of Ammonite, lay-up of Snail 3, paint of Snail 4.",
        "Two photos wait for your look.",
        "Three vans leave today or tomorrow: Boot 0, Boot 1, Boot 2.",
    ]
    assert found[3][1][0] == ("Two more stages are stuck", "/office/stuck/")
    assert [address for _, address in found[4][1] if address] == [
        f"/office/stages/{stage}/" for stage in (MOULD, PAINT, SNAIL_3, SNAIL_4)
    ]
    assert [address for _, address in found[6][1] if address] == [f"/office/jobs/{30 + number}/" for number in range(3)]


def test_one_kind_alone_takes_all_seven_lines_and_says_how_many_are_left() -> None:
    assert len(lines(stuck=[stuck(number) for number in range(7)])) == MOST
    assert words(lines(stuck=[stuck(number) for number in range(8)]))[-1] == "Two more stages are stuck."
    started = starting(*[MOULD] * 20)
    found = words(lines(job(), known=started))
    assert len(found) == MOST
    assert found[-1].startswith("Also start today, or a van is missed: mould of Ammonite, ")
    assert found[-1].endswith(" and eight more that are planned for today.")
    vans = [job(40 + number, f"Boot {number}", TODAY) for number in range(8)]
    assert words(lines(*vans))[-1] == "Two more vans leave today or tomorrow: Boot 6, Boot 7."


@pytest.mark.parametrize("counts", [(0,), (1, 1, 1), (9, 9, 9, 9), (1, 20), (20, 1), (3, 0, 4), (2, 2, 2, 2)])
def test_never_more_than_seven_lines_and_each_kind_has_one(counts: tuple[int, ...]) -> None:
    def gather(rest: object, more: bool) -> Parts:
        assert isinstance(rest, list | tuple)
        return ((str(len(rest)), ""),)

    groups = [Press(str(kind), [(("1", ""),)] * count, gather) for kind, count in enumerate(counts)]
    found = few(groups)
    assert len(found) == min(sum(counts), MOST)
    for kind, count in enumerate(counts):
        assert sum(int(plain(said)) for at, said in found if at == str(kind)) == count
