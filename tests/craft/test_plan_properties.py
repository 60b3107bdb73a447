"""What is true of every plan, whatever the shop."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.craft.network import lay_out
from studio.craft.plan import plan
from studio.craft.slack import Float, slack
from studio.craft.stages import Shop, Stage
from studio.craft.workdays import Calendar
from tests.craft.lawful import faults
from tests.craft.shops import MONDAYS, WEEKS, shops

pytestmark = pytest.mark.once

A_WEEK = 7 * 96


@settings(deadline=None, max_examples=300)
@given(shops())
def test_a_plan_keeps_the_rules(shop: Shop) -> None:
    assert faults(shop, plan(lay_out(shop))) == []


@settings(deadline=None)
@given(shops(weeks=("mornings", "afternoons", "nights")))
def test_a_plan_keeps_the_rules_where_makers_hardly_meet(shop: Shop) -> None:
    assert faults(shop, plan(lay_out(shop))) == []


@settings(deadline=None)
@given(shops())
def test_no_stage_is_before_its_critical_path(shop: Shop) -> None:
    network = lay_out(shop)
    earliest = slack(network)
    for stage, placed in plan(network).placed.items():
        assert placed.start >= earliest[stage].earliest_start
        assert placed.end >= earliest[stage].earliest_end


@settings(deadline=None)
@given(shops())
def test_no_place_is_done_before_all_it_takes_divided_by_its_room(shop: Shop) -> None:
    placed = plan(lay_out(shop)).placed
    for place in shop.places:
        there = [stage for stage in shop.stages if stage.place == place.id and stage.id in placed]
        takes = sum(stage.work + stage.cure * stage.holds for stage in there)
        ends = [placed[stage.id].cured if stage.holds else placed[stage.id].end for stage in there]
        assert max(ends, default=shop.now) - shop.now >= takes / place.capacity


@settings(deadline=None)
@given(shops())
def test_the_same_shop_gets_the_same_plan(shop: Shop) -> None:
    network = lay_out(shop)
    first = plan(network)
    assert plan(network) == first
    assert plan(lay_out(replace(shop))) == first


@settings(deadline=None)
@given(shops(), st.randoms(use_true_random=False))
def test_the_order_in_which_things_stand_is_no_matter(shop: Shop, random: Random) -> None:
    shuffled = replace(
        shop,
        makers=tuple(random.sample(shop.makers, len(shop.makers))),
        places=tuple(random.sample(shop.places, len(shop.places))),
        jobs=tuple(random.sample(shop.jobs, len(shop.jobs))),
        done=tuple(random.sample(shop.done, len(shop.done))),
        stages=tuple(
            replace(stage, after=tuple(random.sample(stage.after, len(stage.after))))
            for stage in random.sample(shop.stages, len(shop.stages))
        ),
    )
    assert plan(lay_out(shuffled)) == plan(lay_out(shop))
    assert slack(lay_out(shuffled)) == slack(lay_out(shop))


def _a_week_later(shop: Shop) -> Shop:
    return replace(
        shop,
        now=shop.now + A_WEEK,
        makers=tuple(replace(maker, free_from=maker.free_from + A_WEEK) for maker in shop.makers),
        jobs=tuple(replace(job, due=None if job.due is None else job.due + A_WEEK) for job in shop.jobs),
        done=tuple(replace(done, at=done.at + A_WEEK) for done in shop.done),
        stages=tuple(
            replace(
                stage,
                not_before=stage.not_before + A_WEEK,
                due=None if stage.due is None else stage.due + A_WEEK,
            )
            for stage in shop.stages
        ),
    )


@settings(deadline=None)
@given(shops(monday=MONDAYS[1], absences=False))
def test_a_week_later_the_same_shop_gets_the_same_plan_a_week_later(shop: Shop) -> None:
    """With no holiday and no change of clocks in between; and if it all fits into the grid, a week later too, and should not
    have begun before it: there no calendar says what is worked time, so that urgency is told another way."""
    network, a_week_later = lay_out(shop), lay_out(_a_week_later(shop))
    now, later = plan(network), plan(a_week_later)
    if now.problems == later.problems and all(one.latest_start >= 0 for one in slack(network).values()):
        assert later.placed == {
            name: at._replace(start=at.start + A_WEEK, end=at.end + A_WEEK, cured=at.cured + A_WEEK)
            for name, at in now.placed.items()
        }


def _away(shop: Shop, maker: str, first: int, days: int) -> Shop:
    """The shop with one of its makers away for some days, or with all of them away for a holiday."""
    start, end = shop.grid.starts(shop.grid.first), first * 96
    gone = range(max(start, end), min(end + days * 96, shop.grid.slots))

    def without(calendar: Calendar) -> Calendar:
        return Calendar(bytes(0 if slot in gone else is_open for slot, is_open in enumerate(calendar.open)))

    return replace(
        shop,
        calendar=shop.calendar if maker else without(shop.calendar),
        makers=tuple(
            replace(each, calendar=without(each.calendar)) if maker in ("", each.id) else each for each in shop.makers
        ),
    )


@settings(deadline=None)
@given(shops(), st.sampled_from(("", "Ada", "Bo", "Ines", "Kit")), st.integers(0, 30), st.integers(1, 10))
def test_nobodys_absence_makes_the_critical_path_earlier(shop: Shop, maker: str, first: int, days: int) -> None:
    """Only the critical path: a plan can well become earlier by it, as ``test_less_work_can_end_later`` shows."""
    before, after = slack(lay_out(shop)), slack(lay_out(_away(shop, maker, first, days)))
    assert after.keys() <= before.keys()
    for stage, there in after.items():
        assert there.earliest_start >= before[stage].earliest_start
        assert there.earliest_end >= before[stage].earliest_end


@settings(deadline=None)
@given(shops())
def test_at_its_latest_a_stage_still_leaves_time_for_what_follows(shop: Shop) -> None:
    stages = {stage.id: stage for stage in shop.stages}
    due = {job.id: job.due for job in shop.jobs if job.due is not None}
    floats = slack(lay_out(shop))
    for name, it in floats.items():
        stage = stages[name]
        cured = it.latest_end + stage.cure
        assert cured <= due.get(stage.job, cured)
        assert cured <= (cured if stage.due is None else stage.due)
        assert all(cured <= floats[other.id].latest_start for other in _followers(shop, name) if other.id in floats)
        assert it.latest_start <= it.latest_end - stage.work


def _followers(shop: Shop, name: str) -> list[Stage]:
    return [stage for stage in shop.stages if name in stage.after]


@settings(deadline=None)
@given(shops(weeks=tuple(WEEKS)))
def test_a_job_without_a_van_has_no_slack_on_its_critical_path(shop: Shop) -> None:
    """The stage that is cured last is due when it is, so that it can start no later than it does."""
    shop = replace(shop, jobs=(), stages=tuple(replace(stage, due=None) for stage in shop.stages))
    floats = slack(lay_out(shop))
    for job in {stage.job for stage in shop.stages}:
        own = [(it, stage) for stage in shop.stages if stage.job == job and (it := floats.get(stage.id))]

        def cured(pair: tuple[Float, Stage]) -> int:
            return pair[0].earliest_end + pair[1].cure

        if own:
            last = max(own, key=cured)
            assert last[0].slack <= 0
