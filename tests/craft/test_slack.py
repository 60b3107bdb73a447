"""The critical path on calendars, worked out by hand; against textbooks and another library in ``test_outside_networks``."""

from dataclasses import replace
from datetime import datetime

import pytest

from studio.craft.network import lay_out
from studio.craft.slack import Float, slack
from studio.craft.stages import Done, Job, Shop, Stage
from studio.craft.workdays import Grid
from tests.craft.shops import DAYS, LONDON, MONDAYS, hours, shop, there

pytestmark = pytest.mark.once

JUNE = Grid(LONDON, MONDAYS[1], DAYS)
OFFICE = hours(JUNE, "office")


def slot(day: int, hour: int) -> int:
    return JUNE.slot(datetime(2026, 6, day, hour, tzinfo=LONDON))


def office(*stages: Stage, due: int | None = None, now: int = 0) -> Shop:
    return Shop(JUNE, now, OFFICE, OFFICE, jobs=(Job("boot", due),), stages=stages)


def test_work_runs_in_hours_and_cures_run_through_the_night() -> None:
    """Three hours from nine, then a cure until three in the night, then two hours from eight."""
    cast = Stage("cast", "boot", 12, cure=15 * 4)
    fill = Stage("fill", "boot", 8, ("cast",))
    found = slack(lay_out(office(cast, fill, now=slot(1, 9))))
    assert found["cast"] == Float(slot(1, 9), slot(1, 12), slot(1, 14), slot(1, 17), 20)
    assert found["fill"] == Float(slot(2, 8), slot(2, 10), slot(2, 8), slot(2, 10), 0)


def test_the_cast_may_wait_because_its_cure_ends_in_the_night() -> None:
    """The same, seen from the van: at eight on Tuesday it must have cured, which began at five on Monday."""
    found = slack(lay_out(office(Stage("cast", "boot", 12, cure=60), now=slot(1, 9), due=slot(2, 8))))
    assert (found["cast"].latest_start, found["cast"].latest_end) == (slot(1, 14), slot(1, 17))


def test_over_a_weekend() -> None:
    found = slack(lay_out(office(Stage("carve", "boot", 8), now=slot(5, 16))))
    assert (found["carve"].earliest_start, found["carve"].earliest_end) == (slot(5, 16), slot(8, 9))


def test_late_by_worked_hours() -> None:
    found = slack(lay_out(office(Stage("carve", "boot", 8), now=slot(8, 9), due=slot(5, 17))))
    assert found["carve"] == Float(slot(8, 9), slot(8, 11), slot(5, 15), slot(5, 17), -12)


def test_due_before_the_grid_begins() -> None:
    """Every slot before it counts: eight of work and the one after it lie there."""
    found = slack(lay_out(office(Stage("a", "boot", 3), Stage("b", "boot", 5, ("a",)), due=-1)))
    assert (found["b"].latest_start, found["a"].latest_start) == (-6, -9)
    assert (found["a"].slack, found["b"].slack) == (-9, -9)


def test_a_stage_with_a_day_of_its_own_binds_what_comes_before_it() -> None:
    stages = (Stage("a", "boot", 4), Stage("b", "boot", 4, ("a",), due=slot(1, 12)), Stage("c", "boot", 4, ("b",)))
    found = slack(lay_out(office(*stages, due=slot(5, 17))))
    assert [found[name].latest_end for name in "abc"] == [slot(1, 11), slot(1, 12), slot(5, 17)]


def test_of_the_jobs_that_wait_for_a_stage_the_soonest_counts() -> None:
    mould, trail = Stage("mould", "boot", 4), Stage("cast", "trail", 4, ("mould",))
    busy = replace(office(mould, trail, due=400), jobs=(Job("boot", slot(5, 17)), Job("trail", slot(1, 12))))
    assert slack(lay_out(busy))["mould"].latest_end == slot(1, 11)


def test_a_job_without_a_van_is_due_when_it_can_be_ready() -> None:
    stages = (Stage("a", "boot", 12), Stage("b", "boot", 4), Stage("c", "boot", 4, ("a", "b")))
    found = slack(lay_out(office(*stages, now=slot(1, 8))))
    assert [found[name].slack for name in "abc"] == [0, 8, 0]


def test_a_van_long_after_the_grid_ends() -> None:
    found = slack(lay_out(office(Stage("a", "boot", 4), due=10**6)))
    assert found["a"].latest_start == OFFICE.own[-4]


def test_work_runs_on_the_hours_of_whoever_it_is_given_to() -> None:
    ada, bo = there("Ada", "#.#.#.#."), there("Bo", "########")
    stages = (Stage("a", "boot", 3, maker="Ada"), Stage("b", "boot", 3))
    found = slack(lay_out(shop(*stages, makers=(ada, bo))))
    assert (found["a"].earliest_end, found["b"].earliest_end) == (5, 3)


def test_places_and_hands_are_no_limit() -> None:
    stages = tuple(Stage(f"{number}", "boot", 5, maker="Ada") for number in range(3))
    found = slack(lay_out(shop(*stages, makers=(there("Ada", "#" * 50),))))
    assert {it.earliest_start for it in found.values()} == {0}


def test_nothing_starts_before_now_its_day_or_what_is_done_has_cured() -> None:
    stages = (Stage("a", "boot", 1), Stage("b", "boot", 1, not_before=30), Stage("c", "boot", 1, ("cast",)))
    found = slack(lay_out(shop(*stages, now=7, done=(Done("cast", "boot", at=5, cure=10),))))
    assert [found[name].earliest_start for name in "abc"] == [7, 30, 15]


def test_without_hours_it_takes_no_time() -> None:
    found = slack(lay_out(shop(Stage("a", "boot", 0, cure=5), Stage("b", "boot", 2, ("a",)))))
    assert found == {"a": Float(0, 0, 0, 0, 0), "b": Float(5, 7, 5, 7, 0)}


def test_what_does_not_fit_ends_beyond_the_grid() -> None:
    stages = (Stage("a", "boot", 900), Stage("b", "boot", 900, ("a",)), Stage("c", "boot", 1, ("b",)))
    found = slack(lay_out(shop(*stages)))
    assert (found["a"].earliest_end, found["b"].earliest_end, found["c"].earliest_end) == (900, 961, 961)


def test_nothing_to_do() -> None:
    assert slack(lay_out(shop())) == {}
