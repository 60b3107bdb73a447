"""The rules of the dispatch one by one, worked out by hand."""

from dataclasses import replace
from datetime import datetime

import pytest

from studio.craft.network import lay_out
from studio.craft.places import Place
from studio.craft.plan import plan
from studio.craft.stages import Done, Job, Maker, Placed, Plan, Problem, Shop, Stage, Trouble
from studio.craft.workdays import Grid
from tests.craft.lawful import faults
from tests.craft.shops import DAYS, LONDON, MONDAYS, hand, hours, shop, there

pytestmark = pytest.mark.once

ADA, BO, INES = hand("Ada"), hand("Bo"), hand("Ines")


def planned(shop: Shop) -> Plan:
    """The plan of a shop, which keeps the rules."""
    found = plan(lay_out(shop))
    assert faults(shop, found) == []
    return found


def starts(shop: Shop) -> dict[str, int]:
    return {name: placed.start for name, placed in sorted(planned(shop).placed.items())}


def crews(shop: Shop) -> dict[str, tuple[str, ...]]:
    return {name: placed.makers for name, placed in sorted(planned(shop).placed.items())}


def last_end(shop: Shop) -> int:
    return max(placed.end for placed in planned(shop).placed.values())


# --- what comes before


def test_a_stage_starts_when_all_it_follows_has_cured() -> None:
    stages = (Stage("a", "boot", 4, cure=10), Stage("b", "boot", 6), Stage("c", "boot", 1, ("a", "b")))
    assert starts(shop(*stages, makers=(ADA, BO))) == {"a": 0, "b": 0, "c": 14}


def test_nothing_starts_before_now_its_day_or_what_is_done_has_cured() -> None:
    stages = (Stage("a", "boot", 1), Stage("b", "boot", 1, not_before=30), Stage("c", "boot", 1, ("cast",)))
    later = shop(*stages, makers=(ADA, BO, INES), now=7, done=(Done("cast", "boot", at=5, cure=10),))
    assert starts(later) == {"a": 7, "b": 30, "c": 15}


# --- who, and when


def test_work_goes_on_over_the_night_with_those_who_began_it() -> None:
    """Ada and Bo lay up from Friday at three; Bo is off on Monday, so that they end on Tuesday."""
    grid = Grid(LONDON, MONDAYS[1], DAYS)
    office = hours(grid, "office")
    friday, tuesday = (grid.slot(datetime(2026, 6, day, 15, tzinfo=LONDON)) for day in (5, 9))
    ada, bo = Maker("Ada", office), Maker("Bo", hours(grid, "office", frozenset((7,))))
    layup, other = Stage("lay-up", "boot", 4 * 4, crew=2), Stage("sand", "boot", 4, due=9000)
    found = planned(Shop(grid, friday, office, office, (ada, bo), stages=(layup, other), jobs=(Job("boot", 1000),)))
    assert found.placed["lay-up"] == Placed("lay-up", friday, tuesday - 5 * 4, tuesday - 5 * 4, ("Ada", "Bo"))
    assert found.placed["sand"].start == tuesday - 5 * 4  # they do nothing else until it is over


def test_whoever_ends_it_the_soonest_is_taken() -> None:
    """Ada leaves after two slots and is back much later."""
    ada, bo = there("Ada", "##" + "." * 80 + "#" * 80, "carve"), hand("Bo", "carve", "mould", "paint")
    assert crews(shop(Stage("a", "boot", 3, skill="carve"), makers=(ada, bo))) == {"a": ("Bo",)}
    assert crews(shop(Stage("a", "boot", 2, skill="carve"), makers=(ada, bo))) == {"a": ("Ada",)}


def test_of_equals_the_one_is_taken_who_can_do_the_least_else_then_by_id() -> None:
    stage = Stage("a", "boot", 3, skill="carve")
    makers = (hand("Ada"), hand("Bo", "carve", "paint"), hand("Ines", "carve"), hand("Kit", "carve"))
    assert crews(shop(stage, makers=makers)) == {"a": ("Ines",)}
    assert crews(shop(replace(stage, crew=2), makers=makers)) == {"a": ("Ines", "Kit")}
    assert crews(shop(replace(stage, crew=3), makers=makers)) == {"a": ("Bo", "Ines", "Kit")}


def test_a_crew_is_chosen_by_when_it_ends_together() -> None:
    """Each could be done alone by slot 5, but Ada and Bo are never there together after the first."""
    ada, bo, ines = there("Ada", "##.#.#.#.#"), there("Bo", "#.##.#.#..##"), there("Ines", "##.#.#.#.#")
    assert crews(shop(Stage("a", "boot", 3, crew=2), makers=(ada, bo, ines))) == {"a": ("Ada", "Ines")}


def test_whom_it_is_given_to_is_in_the_crew() -> None:
    stages = (Stage("a", "boot", 3, skill="carve", crew=2, maker="Kit"), Stage("b", "boot", 3, maker="Kit"))
    makers = (hand("Ada", "carve"), hand("Bo", "carve"), hand("Kit", "paint"))
    assert crews(shop(*stages, makers=makers)) == {"a": ("Ada", "Kit"), "b": ("Kit",)}


def test_a_stage_waits_for_whom_it_is_given_to_and_others_go_before() -> None:
    stages = (Stage("a", "boot", 3, maker="Bo", due=3), Stage("b", "boot", 5), Stage("c", "boot", 2))
    assert starts(shop(*stages, makers=(ADA, replace(BO, free_from=4)))) == {"a": 4, "b": 0, "c": 5}


def test_who_is_free_first_waits_for_the_others_of_a_crew_but_for_what_is_brief() -> None:
    """Bo begins no c of more than half a day while the more urgent b waits for Ada, who is at a until 40."""
    a, b, c = Stage("a", "boot", 40, due=40), Stage("b", "boot", 2, crew=2, due=41), Stage("c", "boot", 17)
    assert starts(shop(a, b, c, makers=(ADA, BO))) == {"a": 0, "b": 40, "c": 42}
    assert starts(shop(a, b, replace(c, work=16), makers=(ADA, BO))) == {"a": 0, "b": 40, "c": 0}
    assert starts(shop(a, b, c, makers=(ADA, BO, INES))) == {"a": 0, "b": 0, "c": 2}


def test_of_many_only_as_many_are_kept_as_the_crew_takes() -> None:
    """Given to Ada, b keeps one of the others for her."""
    a, b = Stage("a", "boot", 40, maker="Ada", due=40), Stage("b", "boot", 2, crew=2, maker="Ada", due=41)
    c, d = Stage("c", "boot", 17), Stage("d", "boot", 17)
    assert starts(shop(a, b, c, d, makers=(ADA, BO, INES))) == {"a": 0, "b": 40, "c": 0, "d": 17}


def test_nobody_waits_for_a_less_urgent_crew() -> None:
    a, b = Stage("a", "boot", 4, due=4), Stage("b", "boot", 2, crew=2)
    assert starts(shop(a, b, Stage("c", "boot", 70, due=9), makers=(ADA, BO))) == {"a": 0, "b": 70, "c": 0}


def test_nobody_waits_for_those_who_are_not_in() -> None:
    mornings, afternoons = there("Ada", "####...." * 99), there("Bo", "....####" * 99)
    b, c = Stage("b", "boot", 2, crew=2, due=5), Stage("c", "boot", 17)
    assert plan(lay_out(shop(b, c, makers=(mornings, afternoons)))).placed["c"].start == 0


def test_somebody_who_comes_later_starts_when_they_come() -> None:
    """Even if nothing else happens just then."""
    assert starts(shop(Stage("a", "boot", 3, crew=2), makers=(ADA, there("Bo", ".....####")))) == {"a": 5}


def test_those_who_never_meet_start_nothing_together() -> None:
    mornings, afternoons = there("Ada", "####...." * 20), there("Bo", "....####" * 20)
    found = planned(shop(Stage("a", "boot", 3, crew=2), Stage("b", "boot", 1, ("a",)), makers=(mornings, afternoons)))
    assert found == Plan(
        {}, (Problem(Trouble.TOO_LONG, "a", "boot"), Problem(Trouble.FOLLOWS_TROUBLE, "b", "boot", ("a",)))
    )


def test_who_leaves_for_good_is_not_given_what_they_cannot_end() -> None:
    """Ada could start at once and never end it; Bo comes back."""
    ada, bo = there("Ada", "#####"), there("Bo", "#" * 4 + "." * 20 + "#" * 30)
    stages = (Stage("a", "boot", 6), Stage("b", "boot", 4, maker="Bo", begun=True))
    found = planned(shop(*stages, makers=(ada, bo)))
    assert (found.placed["a"].start, found.placed["a"].makers) == (24, ("Bo",))


def test_of_those_free_only_who_can_end_it_is_taken() -> None:
    ada, bo = there("Ada", "#####"), there("Bo", "#..#..#..#..#..#..#")
    assert crews(shop(Stage("a", "boot", 6), makers=(ada, bo))) == {"a": ("Bo",)}


def test_nothing_changes_where_too_many_crews_are_there_to_be_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("studio.craft.crews._MOST_KEPT", 0)
    makers = tuple(there(f"maker {number}", "#" * number + "." + "#" * 50) for number in range(1, 6))
    stages = (Stage("a", "boot", 9, crew=3, begun=True), Stage("b", "boot", 9, crew=2))
    found = planned(shop(*stages, makers=makers))
    assert {name: (it.start, it.end) for name, it in found.placed.items()} == {"a": (0, 12), "b": (0, 11)}


def test_more_than_eight_makers() -> None:
    many = tuple(hand(f"maker {number:02}") for number in range(20))
    stages = tuple(Stage(f"stage {number:02}", "boot", 5) for number in range(30))
    found = planned(shop(*stages, Stage("all", "boot", 5, crew=20, begun=True), makers=many))
    assert found.placed["all"].makers == tuple(maker.id for maker in many)
    assert [found.placed[stage.id].start for stage in stages] == [5] * 20 + [10] * 10


def test_large_crews_from_many_makers_take_no_time_to_find() -> None:
    many = tuple(hand(f"maker {number:02}") for number in range(24))
    stages = tuple(Stage(f"stage {number:02}", "boot", 5, crew=11) for number in range(6))
    assert sorted(starts(shop(*stages, makers=many)).values()) == [0, 0, 5, 5, 10, 10]


# --- where


def test_a_place_has_room_again_when_the_work_is_over() -> None:
    stages = tuple(Stage(name, "boot", 4, place="booth", cure=50) for name in "abc")
    assert starts(shop(*stages, makers=(ADA, BO, INES), places=(Place("booth", 2),))) == {"a": 0, "b": 0, "c": 4}


def test_or_when_it_has_cured() -> None:
    stages = tuple(Stage(name, "boot", 4, place="booth", cure=50, holds=True) for name in "abc")
    assert starts(shop(*stages, makers=(ADA, BO, INES), places=(Place("booth", 2),))) == {"a": 0, "b": 0, "c": 54}


def test_what_was_done_still_cures_in_its_place() -> None:
    """Three stand where there is room for two: room comes when the last but one has cured."""
    done = tuple(Done(f"{at}", "boot", at=0, cure=at, place="booth", holds=True) for at in (5, 9, 30))
    booth = shop(Stage("a", "boot", 4, place="booth"), makers=(ADA,), places=(Place("booth", 2),), done=done, now=2)
    assert starts(booth) == {"a": 9}
    elsewhere = tuple(replace(one, place="gone") for one in done)
    assert starts(replace(booth, done=elsewhere)) == {"a": 2}
    assert starts(replace(booth, done=tuple(replace(one, holds=False) for one in done))) == {"a": 2}


def test_who_cannot_get_in_does_something_else() -> None:
    stages = (
        Stage("a", "boot", 4, place="booth", due=4),
        Stage("b", "boot", 4, place="booth", due=5),
        Stage("c", "boot", 3),
    )
    assert starts(shop(*stages, makers=(ADA, BO), places=(Place("booth"),))) == {"a": 0, "b": 4, "c": 0}


# --- which first


def test_what_must_start_soonest_goes_first_then_by_id() -> None:
    stages = (
        Stage("a", "boot", 4),
        Stage("b", "pretzel", 4),
        Stage("c", "trail", 4),
        Stage("d", "trail", 1, ("c",)),
    )
    jobs = (Job("boot", 50), Job("pretzel", 50), Job("trail", 50))
    assert starts(shop(*stages, makers=(ADA,), jobs=jobs)) == {"a": 4, "b": 8, "c": 0, "d": 12}
    assert starts(shop(*stages, makers=(ADA,), jobs=(*jobs[:2], Job("trail", 10)))) == {"a": 5, "b": 9, "c": 0, "d": 4}


def test_how_late_a_job_is_counts_even_before_the_grid_begins() -> None:
    stages = (Stage("a", "boot", 4), Stage("b", "trail", 4))
    assert starts(shop(*stages, makers=(ADA,), jobs=(Job("boot", -100), Job("trail", -200)))) == {"a": 4, "b": 0}


def test_what_has_begun_goes_before_anything_else() -> None:
    stages = (Stage("a", "boot", 4, due=1), Stage("b", "boot", 4, begun=True))
    assert starts(shop(*stages, makers=(ADA,))) == {"a": 4, "b": 0}


def test_what_no_deadline_waits_for_goes_last() -> None:
    """However long it is; but what a job with a van follows is waited for, too."""
    stages = (
        Stage("a", "boot", 400),
        Stage("b", "trail", 4),
        Stage("mould", "boot", 9),
        Stage("c", "trail", 1, ("mould",)),
    )
    assert starts(shop(*stages, makers=(ADA,), jobs=(Job("boot"), Job("trail", 900)))) == {
        "a": 14,
        "b": 9,
        "c": 13,
        "mould": 0,
    }


def test_less_work_can_end_later() -> None:
    """An anomaly of every such dispatch (R. L. Graham, "Bounds on multiprocessing timing anomalies", 1969; from memory).

    Two makers, and b waits for nobody. While c takes 3, it starts first with b, and a and d fill what is left: 7. With 2 it is
    less urgent than a, and d comes after it: 8. So nothing is promised of a plan when work, or an absence, is taken away.
    """
    stages = {
        "a": Stage("a", "boot", 4),
        "b": Stage("b", "boot", 5),
        "c": Stage("c", "boot", 3),
        "d": Stage("d", "boot", 2, ("c",)),
    }
    all_of_it = shop(*stages.values(), makers=(ADA, BO), jobs=(Job("boot", 100),))
    less = shop(*(stages | {"c": replace(stages["c"], work=2)}).values(), makers=(ADA, BO), jobs=(Job("boot", 100),))
    assert (last_end(all_of_it), last_end(less)) == (7, 8)


# --- bad input


def test_no_hours_take_no_time_but_somebody_and_room() -> None:
    stages = (
        Stage("a", "boot", 5, place="booth", begun=True),
        Stage("b", "boot", 0, place="booth", cure=3, holds=True, due=10),
        Stage("c", "boot", 0, ("b",)),
        Stage("d", "boot", 4, place="booth"),
    )
    found = planned(shop(*stages, makers=(ADA, there("Bo", "." * 7 + "#" * 30)), places=(Place("booth"),)))
    assert {name: (it.start, it.end, it.cured) for name, it in found.placed.items()} == {
        "a": (0, 5, 5),
        "b": (5, 5, 8),
        "c": (8, 8, 8),
        "d": (8, 12, 12),
    }
    assert [it.trouble for it in found.problems] == [Trouble.ZERO_HOURS] * 2


def test_ten_thousand_hours_are_a_problem_of_that_stage_alone() -> None:
    found = planned(shop(Stage("a", "boot", 40_000), Stage("b", "boot", 4), makers=(ADA,)))
    assert list(found.placed) == ["b"]
    assert found.problems == (Problem(Trouble.TOO_LONG, "a", "boot"),)


def test_more_than_the_grid_holds_is_planned_as_far_as_it_goes() -> None:
    stages = tuple(Stage(f"{number:02}", "boot", 100) for number in range(12))
    found = planned(shop(*stages, makers=(ADA,)))
    assert sorted(found.placed) == [f"{number:02}" for number in range(9)]
    assert [(it.trouble, it.stage) for it in found.problems] == [
        (Trouble.TOO_LONG, "09"),
        (Trouble.TOO_LONG, "10"),
        (Trouble.TOO_LONG, "11"),
    ]


def test_closed_for_a_month() -> None:
    grid = Grid(LONDON, MONDAYS[1], DAYS)
    holiday = hours(grid, "office", frozenset(range(31)))
    found = planned(Shop(grid, 40, holiday, holiday, (Maker("Ada", holiday),), stages=(Stage("a", "boot", 4),)))
    assert grid.at(found.placed["a"].start) == datetime(2026, 7, 2, 8, tzinfo=LONDON)


def test_a_grid_with_nobody_in_it_and_a_shop_without_makers() -> None:
    assert planned(shop()) == Plan({}, ())
    stages = (Stage("a", "boot", 4), Stage("b", "boot", 4, ("a",)))
    nobody = Problem(Trouble.NOBODY_CAN, "a", "boot"), Problem(Trouble.FOLLOWS_TROUBLE, "b", "boot", ("a",))
    assert planned(shop(*stages)) == Plan({}, nobody)
    assert planned(shop(*stages, makers=(there("Ada", ""),))) == Plan(
        {}, (nobody[0], Problem(Trouble.NOBODY_CAN, "b", "boot"))
    )
    assert planned(replace(shop(*stages, slots=0), makers=(hand("Ada", slots=0),))).placed == {}


def test_a_crew_of_none_is_a_crew_of_one() -> None:
    found = plan(lay_out(shop(Stage("a", "boot", 4, crew=0), makers=(ADA,))))
    assert found.placed["a"].makers == ("Ada",)


def test_everything_wrong_at_once_still_gives_a_plan() -> None:
    stages = (
        Stage("a", "boot", 0, ("a",)),
        Stage("b", "boot", -4, ("gone",), place="nowhere"),
        Stage("c", "nothing", 40_000, skill="paint", crew=9),
        Stage("d", "boot", 4, maker="Zed"),
        Stage("e", "boot", 4, not_before=10**6),
        Stage("f", "boot", 4, cure=10**6, due=-(10**6)),
        Stage("g", "boot", 4, ("f",)),
        Stage("h", "boot", 4, ("cast",)),
    )
    done = (Done("cast", "boot", at=10**6, cure=5, place="booth", holds=True, after=("a", "h")),)
    found = planned(shop(*stages, makers=(ADA,), places=(Place("booth", -1),), done=done, now=50))
    assert found.placed == {"f": Placed("f", 50, 54, 54 + 10**6, ("Ada",))}
    assert {it.stage for it in found.problems} == {"a", "b", "c", "cast", "d", "e", "g", "h"}


def test_what_somebody_is_at_keeps_its_place_while_they_are_away() -> None:
    """Ada is away for 40 slots from her half-painted boot; Bo could paint the trail, but the booth is taken."""
    boot = Stage("boot", "boot", 4, place="booth", maker="Ada", begun=True)
    trail = Stage("trail", "trail", 30, place="booth")
    booth = shop(boot, trail, makers=(there("Ada", "." * 40 + "#" * 99), BO), places=(Place("booth"),))
    assert starts(booth) == {"boot": 40, "trail": 44}
    assert starts(replace(booth, places=(Place("booth", 2),))) == {"boot": 40, "trail": 0}
    cures = replace(booth, stages=(replace(boot, cure=20, holds=True), trail))
    assert starts(cures) == {"boot": 40, "trail": 64}
    not_begun = replace(booth, stages=(replace(boot, begun=False), trail))
    assert starts(not_begun) == {"boot": 40, "trail": 0}


def test_what_was_begun_out_of_turn_does_not_shut_out_what_it_follows() -> None:
    prime = Stage("prime", "boot", 4, place="booth")
    paint = Stage("paint", "boot", 4, ("prime",), place="booth", begun=True)
    assert starts(shop(prime, paint, makers=(ADA,), places=(Place("booth"),))) == {"paint": 4, "prime": 0}


def test_more_may_be_begun_than_there_is_room_for() -> None:
    begun = tuple(Stage(name, "boot", 4, place="booth", begun=True) for name in "abc")
    assert starts(shop(*begun, makers=(ADA, BO, INES), places=(Place("booth", 2),))) == {"a": 0, "b": 0, "c": 4}
