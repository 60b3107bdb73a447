"""What is read off a plan, reckoned by hand on little shops that are drawn beside each test.

Open Monday to Friday, 08:00 to 16:00, so that half a day is four hours. ``day`` 0 is Monday 1 June 2026; 5, 6, 12 and 13 are
weekends. In the drawings a sign is half a day: "#" work, "~" cure, "." a wait, "x" closed or away, "|" the end of a day.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from studio.craft.causes import Cause, Why
from studio.craft.explain import Reading, explain, explain_own, must_start
from studio.craft.network import lay_out
from studio.craft.places import Place
from studio.craft.plan import plan
from studio.craft.stages import Done, Job, Maker, Placed, Plan, Shop, Stage
from studio.craft.workdays import Grid, calendar

pytestmark = pytest.mark.once

MONDAY = date(2026, 6, 1)
GRID = Grid(ZoneInfo("Europe/London"), MONDAY, 28)
WEEK = {day: ((time(8), time(16)),) for day in range(5)}
ORDINARY = calendar(GRID, WEEK)
A_DAY, HOUR = 32, 4  # of work; of any time


def at(day: int, clock: float = 8) -> int:
    return day * 96 + int(clock * HOUR)


def van(day: int) -> int:
    """The first slot after a van's day."""
    return at(day + 1, 0)


def the(day: int) -> date:
    return MONDAY + timedelta(day)


def person(name: str, *, away: tuple[int, ...] = (), saturday: int | None = None, skills: str = "") -> Maker:
    extra = [] if saturday is None else [(the(saturday), time(8), time(12))]
    hours = calendar(GRID, WEEK, closed=[the(day) for day in away], overtime=extra)
    return Maker(name, hours, frozenset(skills.split()) or None)


def yard(
    *stages: Stage,
    van_day: int | None = None,
    vans: Mapping[str, int] | None = None,
    makers: tuple[Maker, ...] = (person("Ada"), person("Bo")),
    closed: tuple[int, ...] = (),
    done: tuple[Done, ...] = (),
    booths: int = 1,
    now: int | None = None,
) -> Shop:
    """The ammonite's van is on ``van_day``; those of other jobs are in ``vans``."""
    due = {"ammonite": None if van_day is None else van(van_day)}
    due |= {job: van(day) for job, day in (vans or {}).items()}
    shut = calendar(GRID, WEEK, closed=[the(day) for day in closed])
    jobs = tuple(Job(job, slot) for job, slot in due.items())
    return Shop(
        GRID, at(0) if now is None else now, shut, ORDINARY, makers, (Place("booth", booths),), jobs, stages, done
    )


def planned(*placed: Placed) -> Plan:
    return Plan({each.stage: each for each in placed})


def put(stage: str, start: int, end: int, *makers: str, cure: int = 0) -> Placed:
    return Placed(stage, start, end, end + cure, makers)


def causes(reading: Reading) -> list[tuple[str, int, str]]:
    """Why, half days, and the stage whose time it is."""
    return [(cause.why.value, cause.half_days, cause.stage) for cause in reading.causes]


# Why a job is over.


def test_its_place_is_held_by_the_priming_and_curing_of_another_job() -> None:
    #          Mon Tue Wed
    # snails   ##|~~|       primed in the booth, and cures there for 24 hours, to Tuesday 16:00
    # ammonite ..|..|##|    painted in the booth; van on Monday
    shop = yard(
        Stage("snails prime", "snails", A_DAY, place="booth", cure=24 * HOUR, holds=True),
        Stage("paint", "ammonite", A_DAY, place="booth"),
        van_day=0,
    )
    reading = explain(
        shop,
        planned(
            put("snails prime", at(0), at(0, 16), "Ada", cure=24 * HOUR),
            put("paint", at(2), at(2, 16), "Bo"),
        ),
        "ammonite",
    )
    assert reading == Reading(
        "ammonite",
        ready=at(2, 16),
        ready_day=the(2),
        van=the(0),
        hand=-2,
        over=True,
        causes=(Cause(Why.PLACE, 4, "paint", other="snails prime", other_job="snails", place="booth"),),
        chain=("paint",),
    )


def test_the_only_one_who_can_is_busy_on_another_job() -> None:
    #          Mon Tue Wed
    # pretzel  ##|##|       Ada carves
    # ammonite ..|..|##|    Ada carves; van on Tuesday, over by a day of the two that she was busy
    shop = yard(
        Stage("dough", "pretzel", 2 * A_DAY, skill="carve"),
        Stage("spiral", "ammonite", A_DAY, skill="carve"),
        makers=(person("Ada"), person("Bo", skills="paint")),
        van_day=1,
    )
    reading = explain(
        shop, planned(put("dough", at(0), at(1, 16), "Ada"), put("spiral", at(2), at(2, 16), "Ada")), "ammonite"
    )
    assert reading.causes == (Cause(Why.MAKER, 2, "spiral", other="dough", other_job="pretzel", maker="Ada"),)
    assert (reading.hand, reading.over) == (-1, True)


def test_the_only_one_who_can_is_away_before_it_starts() -> None:
    #          Mon Tue Wed
    # ammonite xx|xx|##|    Ada is away for two days; van on Monday
    ada = person("Ada", away=(0, 1))
    shop = yard(Stage("spiral", "ammonite", A_DAY), makers=(ada,), van_day=0)
    reading = explain(shop, planned(put("spiral", at(2), at(2, 16), "Ada")), "ammonite")
    assert reading.causes == (Cause(Why.AWAY, 4, "spiral", maker="Ada"),)


def test_whoever_does_it_is_away_in_the_middle() -> None:
    #          Mon Tue Wed Thu
    # ammonite ##|xx|xx|##|    van on Tuesday: over two days, which Ada was away
    ada = person("Ada", away=(1, 2))
    shop = yard(Stage("spiral", "ammonite", 2 * A_DAY), makers=(ada,), van_day=1)
    reading = explain(shop, planned(put("spiral", at(0), at(3, 16), "Ada")), "ammonite")
    assert reading.causes == (Cause(Why.AWAY, 4, "spiral", maker="Ada"),)


def test_of_two_who_do_it_together_the_one_who_was_away_is_named() -> None:
    #          Mon Tue Wed Thu
    # ammonite ##|x#|xx|##|    Ada is away on Wednesday, Bo on Tuesday and Wednesday; van on Tuesday
    shop = yard(
        Stage("fit-up", "ammonite", 2 * A_DAY, crew=2),
        makers=(person("Ada", away=(2,)), person("Bo", away=(1, 2))),
        van_day=1,
    )
    reading = explain(shop, planned(put("fit-up", at(0), at(3, 16), "Ada", "Bo")), "ammonite")
    assert reading.causes == (Cause(Why.AWAY, 4, "fit-up", maker="Bo"),)


def test_the_studio_is_closed_over_a_holiday_week() -> None:
    #          Thu Fri | Mon Tue Wed Thu Fri | Mon
    # ammonite ##| ##| | xx| xx| xx| xx| xx| | ##|    van on the Friday of the week that is closed
    closed = (7, 8, 9, 10, 11)
    stage = Stage("spiral", "ammonite", 3 * A_DAY)
    makers = (person("Ada", away=closed),)
    at_work = planned(put("spiral", at(3), at(14, 16), "Ada"))
    over = explain(yard(stage, makers=makers, closed=closed, van_day=11, now=at(3)), at_work, "ammonite")
    assert (over.hand, causes(over)) == (-1, [("closed", 2, "spiral")])
    # With a van on the Friday after, the five days it costs are named whole, though the shop works on none of them.
    in_hand = explain(yard(stage, makers=makers, closed=closed, van_day=18, now=at(3)), at_work, "ammonite")
    assert (in_hand.hand, causes(in_hand)) == (4, [("closed", 10, "spiral")])


def test_days_closed_after_the_van_cost_nothing() -> None:
    """No day counts after the van but those on which the shop is open, so opening on the others would win none."""
    closed = (7, 8, 9, 10, 11)
    shop = yard(
        Stage("spiral", "ammonite", 3 * A_DAY),
        makers=(person("Ada", away=closed),),
        closed=closed,
        van_day=4,
        now=at(3),
    )
    reading = explain(shop, planned(put("spiral", at(3), at(14, 16), "Ada")), "ammonite")
    assert (reading.hand, causes(reading)) == (-1, [("work", 2, "spiral")])


def test_a_question_takes_as_long_whether_the_studio_is_closed_or_not() -> None:
    #          Mon Tue Wed Thu
    # ammonite .. |xx|.. |##|    held to Thursday, closed on Tuesday: two days that the shop is open
    shop = yard(
        Stage("paint", "ammonite", A_DAY, not_before=at(3), held=True),
        makers=(person("Ada", away=(1,)),),
        closed=(1,),
        van_day=4,
    )
    reading = explain(shop, planned(put("paint", at(3), at(3, 16), "Ada")), "ammonite")
    assert causes(reading) == [("held", 4, "paint")]


def test_a_booth_that_cures_over_closed_days_is_taken_by_the_cure() -> None:
    #          Mon Tue Wed Thu
    # snails   ##|x~|~~|       primed on Monday, cures in the booth to Wednesday 16:00; closed on Tuesday
    # ammonite ..|x.|..|##|
    snails = Stage("snails prime", "snails", A_DAY, place="booth", cure=48 * HOUR, holds=True)
    paint = Stage("paint", "ammonite", A_DAY, place="booth")
    makers = (person("Ada", away=(1,)), person("Bo", away=(1,)))
    at_work = planned(
        put("snails prime", at(0), at(0, 16), "Ada", cure=48 * HOUR), put("paint", at(3), at(3, 16), "Bo")
    )
    shop = yard(snails, paint, makers=makers, closed=(1,), van_day=4)
    assert causes(explain(shop, at_work, "ammonite")) == [("place", 4, "paint")]
    # If it is worked on in the booth over that day, the day is the closing's.
    shop = yard(replace(snails, work=2 * A_DAY, cure=0), paint, makers=makers, closed=(1,), van_day=4)
    at_work = planned(put("snails prime", at(0), at(2, 16), "Ada"), put("paint", at(3), at(3, 16), "Bo"))
    assert causes(explain(shop, at_work, "ammonite")) == [("place", 4, "paint"), ("closed", 2, "paint")]


def test_resin_cures_over_the_weekend() -> None:
    #          Thu Fri |     | Mon
    # ammonite ##| ~~| | ~~~ |        72 hours from Thursday 16:00; van on Thursday
    # Without the cure it is ready on Thursday, with it on Monday, the second working day after.
    shop = yard(Stage("lay-up", "ammonite", A_DAY, cure=72 * HOUR), van_day=3, now=at(3))
    reading = explain(shop, planned(put("lay-up", at(3), at(3, 16), "Ada", cure=72 * HOUR)), "ammonite")
    assert (reading.hand, causes(reading)) == (-2, [("cure", 4, "lay-up")])


def test_resin_cures_before_the_next_stage() -> None:
    #          Mon Tue Wed Thu
    # ammonite ##|~~|~~|##|    48 hours from Monday 16:00; van on Wednesday
    shop = yard(
        Stage("lay-up", "ammonite", A_DAY, cure=48 * HOUR), Stage("fill", "ammonite", A_DAY, ("lay-up",)), van_day=2
    )
    reading = explain(
        shop,
        planned(put("lay-up", at(0), at(0, 16), "Ada", cure=48 * HOUR), put("fill", at(3), at(3, 16), "Ada")),
        "ammonite",
    )
    assert (reading.hand, causes(reading), reading.chain) == (-1, [("cure", 2, "lay-up")], ("lay-up", "fill"))


def test_a_question_is_not_answered() -> None:
    #          Mon Tue Wed
    # ammonite ..|..|##|    held to Wednesday 08:00; van on Monday
    shop = yard(Stage("paint", "ammonite", A_DAY, not_before=at(2), held=True), van_day=0)
    reading = explain(shop, planned(put("paint", at(2), at(2, 16), "Ada")), "ammonite")
    assert causes(reading) == [("held", 4, "paint")]


def test_there_is_more_work_than_days() -> None:
    #          Mon Tue Wed Thu Fri
    # ammonite #|..two days of carving and three of filling; van on Wednesday
    shop = yard(Stage("carve", "ammonite", 2 * A_DAY), Stage("fill", "ammonite", 3 * A_DAY, ("carve",)), van_day=2)
    reading = explain(
        shop, planned(put("carve", at(0), at(1, 16), "Ada"), put("fill", at(2), at(4, 16), "Ada")), "ammonite"
    )
    assert (reading.hand, causes(reading)) == (-2, [("work", 4, "fill")])


def test_a_van_that_has_left_leaves_the_rest_to_the_work() -> None:
    #          Mon Tue Wed Thu
    # ammonite           ..##|  now is Thursday; Ada comes at noon; the van was on Monday: three days over
    shop = yard(
        Stage("pack", "ammonite", A_DAY // 2),
        Stage("sign", "boot", A_DAY // 2),
        vans={"boot": 20},
        van_day=0,
        now=at(3),
    )
    reading = explain(
        shop, planned(put("sign", at(3), at(3, 12), "Ada"), put("pack", at(3, 12), at(3, 16), "Ada")), "ammonite"
    )
    assert (reading.hand, causes(reading)) == (-3, [("work", 5, "pack"), ("maker", 1, "pack")])


# Shares.


def test_two_causes_that_are_more_than_the_gap_still_add_up_to_it() -> None:
    #          Mon Tue Wed Thu
    # snails   ##|#              in the booth to Tuesday noon
    # pretzel     |##|#          Bo, from Tuesday 08:00 to Wednesday noon
    # ammonite ..|..|.#|#        waits 1½ days for the booth, then 1 day for Bo; van on Tuesday: two days over
    shop = yard(
        Stage("snails prime", "snails", 3 * A_DAY // 2, place="booth"),
        Stage("dough", "pretzel", 3 * A_DAY // 2),
        Stage("paint", "ammonite", A_DAY, place="booth", maker="Bo"),
        van_day=1,
    )
    at_work = planned(
        put("snails prime", at(0), at(1, 12), "Ada"),
        put("dough", at(1), at(2, 12), "Bo"),
        put("paint", at(2, 12), at(3, 12), "Bo"),
    )
    assert causes(explain(shop, at_work, "ammonite")) == [("place", 3, "paint"), ("maker", 1, "paint")]
    # With a van on Monday the gap is three days, and half a day is left for its own work.
    earlier = replace(shop, jobs=(Job("ammonite", van(0)),))
    assert causes(explain(earlier, at_work, "ammonite")) == [
        ("place", 3, "paint"),
        ("maker", 2, "paint"),
        ("work", 1, "paint"),
    ]


def four_causes() -> tuple[Shop, Plan]:
    #          Mon Tue Wed Thu Fri | Mon Tue Wed Thu
    # sand     ..|##|                                  held to Tuesday                                  1 day
    # prime          ..|..|##|                         the snails have the booth                        2 days
    # paint                        | ..| .#|           Ada is at the pretzel to noon                    1½ days
    # pack                         |       |xx|##|     Kit is away on Wednesday                         1 day
    # The van was on the first Monday: eight days over, and 16 half days less 11 are its work and the rest.
    shop = yard(
        Stage("sand", "ammonite", A_DAY, not_before=at(1), held=True),
        Stage("prime", "ammonite", A_DAY, ("sand",), place="booth"),
        Stage("paint", "ammonite", A_DAY // 2, ("prime",)),
        Stage("pack", "ammonite", A_DAY, ("paint",), maker="Kit"),
        Stage("snails prime", "snails", 2 * A_DAY, place="booth"),
        Stage("dough", "pretzel", 3 * A_DAY // 2),
        makers=(person("Ada"), person("Bo"), person("Kit", away=(9,))),
        van_day=0,
    )
    return shop, planned(
        put("sand", at(1), at(1, 16), "Ada"),
        put("prime", at(4), at(4, 16), "Bo"),
        put("paint", at(8, 12), at(8, 16), "Ada"),
        put("pack", at(10), at(10, 16), "Kit"),
        put("snails prime", at(2), at(3, 16), "Ada"),
        put("dough", at(7), at(8, 12), "Ada"),
    )


def test_of_four_causes_and_the_work_the_smaller_two_go_to_the_work() -> None:
    reading = explain(*four_causes(), "ammonite")
    assert reading.hand == -8
    assert causes(reading) == [("work", 9, "sand"), ("place", 4, "prime"), ("maker", 3, "paint")]
    assert reading.chain == ("sand", "prime", "paint", "pack")


def test_of_four_causes_alone_the_smallest_goes_to_the_biggest() -> None:
    shop, at_work = four_causes()
    # Over since Thursday of the first week: Friday, Monday to Thursday are five days, of which the waits take all.
    reading = explain(replace(shop, jobs=(Job("ammonite", van(3)),)), at_work, "ammonite")
    assert reading.hand == -5
    assert causes(reading) == [("place", 5, "prime"), ("maker", 3, "paint"), ("held", 2, "sand")]


def test_the_smallest_goes_to_one_of_its_kind() -> None:
    #          Mon Tue Wed Thu Fri
    # prime    #.|.#|                snails have the booth before noon of Monday ...
    # The booth is full twice: half a day before the priming, one before the painting. A question takes 1½ days, Ada 1.
    shop = yard(
        Stage("prime", "ammonite", A_DAY // 2, place="booth"),
        Stage("sand", "ammonite", A_DAY // 2, ("prime",), not_before=at(2, 12), held=True),
        Stage("paint", "ammonite", A_DAY // 2, ("sand",), place="booth"),
        Stage("pack", "ammonite", A_DAY // 2, ("paint",), maker="Ada"),
        Stage("snails prime", "snails", A_DAY // 2, place="booth"),
        Stage("snails paint", "snails", A_DAY, place="booth"),
        Stage("dough", "pretzel", A_DAY, maker="Ada"),
        vans={"snails": 20, "pretzel": 20},
        van_day=0,
    )
    at_work = planned(
        put("snails prime", at(0), at(0, 12), "Ada"),
        put("prime", at(0, 12), at(0, 16), "Bo"),
        put("sand", at(2, 12), at(2, 16), "Bo"),
        put("snails paint", at(3), at(3, 16), "Ada"),
        put("paint", at(4), at(4, 12), "Bo"),
        put("dough", at(4, 12), at(7, 12), "Ada"),
        put("pack", at(7, 12), at(7, 16), "Ada"),
    )
    reading = explain(shop, at_work, "ammonite")
    # Ten half days over. The question waits three, the booth one and two, Ada two, and the work has the two that are left. The
    # booth's one goes to its two. Of the four that are left the work is the last of the two smallest; it goes to the biggest.
    assert reading.hand == -5
    assert causes(reading) == [("held", 5, "sand"), ("place", 3, "paint"), ("maker", 2, "pack")]


def test_days_that_the_grid_does_not_hold_are_neither_counted_nor_blamed() -> None:
    #          Mon Tue Wed
    # pretzel  ##|##|       Ada carves
    # ammonite ..|..|##|    Ada carves; its van left days before the grid begins
    stages = (
        Stage("dough", "pretzel", 2 * A_DAY, skill="carve"),
        Stage("spiral", "ammonite", A_DAY, skill="carve"),
    )
    makers = (person("Ada"), person("Bo", skills="paint"))
    at_work = planned(put("dough", at(0), at(1, 16), "Ada"), put("spiral", at(2), at(2, 16), "Ada"))
    held_up = Cause(Why.MAKER, 4, "spiral", other="dough", other_job="pretzel", maker="Ada")
    before = explain(yard(*stages, makers=makers, van_day=-3), at_work, "ammonite")
    assert (before.van, before.over, before.cut) == (the(-3), True, True)
    assert before.causes == (held_up,)
    # The day before the grid is a Sunday, and the days after it are all there.
    edge = explain(yard(*stages, makers=makers, van_day=-1), at_work, "ammonite")
    assert (edge.hand, edge.cut) == (-3, False)
    assert causes(edge) == [("maker", 4, "spiral"), ("work", 2, "spiral")]


def test_what_has_set_after_the_grid_has_ended_is_not_counted() -> None:
    shop = yard(Stage("cast", "ammonite", A_DAY, cure=40 * 24 * HOUR), van_day=7)
    reading = explain(shop, planned(put("cast", at(0), at(0, 16), "Ada", cure=40 * 24 * HOUR)), "ammonite")
    assert (reading.ready_day, reading.over, reading.cut) == (the(40), True, True)


# Jobs that are not over.


def test_a_job_in_hand_that_never_waits_has_no_causes() -> None:
    shop = yard(
        Stage("lay-up", "ammonite", A_DAY, cure=48 * HOUR), Stage("fill", "ammonite", A_DAY, ("lay-up",)), van_day=9
    )
    reading = explain(
        shop,
        planned(put("lay-up", at(0), at(0, 16), "Ada", cure=48 * HOUR), put("fill", at(3), at(3, 16), "Ada")),
        "ammonite",
    )
    assert (reading.hand, reading.over, reading.causes) == (4, False, ())


def test_a_tight_job_names_its_three_longest_waits() -> None:
    shop, at_work = four_causes()
    reading = explain(replace(shop, jobs=(Job("ammonite", van(10)),)), at_work, "ammonite")
    assert (reading.hand, reading.over) == (0, False)
    assert causes(reading) == [("place", 4, "prime"), ("maker", 3, "paint"), ("held", 2, "sand")]


def test_a_wait_of_less_than_two_hours_is_not_worth_naming() -> None:
    shop = yard(Stage("sand", "ammonite", A_DAY), Stage("sign", "boot", 7), van_day=3)
    at_work = planned(put("sign", at(0), at(0, 9.75), "Ada"), put("sand", at(0, 9.75), at(1, 9.75), "Ada"))
    assert explain(shop, at_work, "ammonite").causes == ()
    at_work = planned(put("sign", at(0), at(0, 10), "Ada"), put("sand", at(0, 10), at(1, 10), "Ada"))
    assert causes(explain(shop, at_work, "ammonite")) == [("maker", 1, "sand")]


# What was in the way.


def test_a_booth_for_two_waits_for_whoever_leaves_first() -> None:
    #          Mon Tue Wed
    # snails   ##|#         leaves on Tuesday noon
    # pretzel  ##|##|
    # ammonite ..|.#|#
    shop = yard(
        Stage("snails prime", "snails", 3 * A_DAY // 2, place="booth"),
        Stage("glaze", "pretzel", 2 * A_DAY, place="booth"),
        Stage("paint", "ammonite", A_DAY, place="booth"),
        makers=(person("Ada"), person("Bo"), person("Kit")),
        booths=2,
        van_day=5,
    )
    at_work = planned(
        put("snails prime", at(0), at(1, 12), "Ada"),
        put("glaze", at(0), at(1, 16), "Bo"),
        put("paint", at(1, 12), at(2, 12), "Kit"),
    )
    reading = explain(shop, at_work, "ammonite")
    assert reading.causes == (Cause(Why.PLACE, 3, "paint", "snails prime", "snails", "booth"),)


def test_all_that_it_waits_for_its_place_is_one_cause_and_names_the_last_in_it() -> None:
    #          Mon Tue Wed
    # snails   ##|          then the pretzel, to Wednesday noon
    # ammonite ..|..|.#|    2½ days
    shop = yard(
        Stage("snails prime", "snails", A_DAY, place="booth"),
        Stage("glaze", "pretzel", 3 * A_DAY // 2, place="booth"),
        Stage("paint", "ammonite", A_DAY // 2, place="booth"),
        van_day=5,
    )
    at_work = planned(
        put("snails prime", at(0), at(0, 16), "Ada"),
        put("glaze", at(1), at(2, 12), "Ada"),
        put("paint", at(2, 12), at(2, 16), "Bo"),
    )
    reading = explain(shop, at_work, "ammonite")
    assert reading.causes == (Cause(Why.PLACE, 5, "paint", "glaze", "pretzel", "booth"),)


def test_what_was_done_and_still_cures_in_the_booth_is_in_the_way() -> None:
    # The snails were primed on the Friday before and cure in the booth to Monday 12:00.
    shop = yard(
        Stage("paint", "ammonite", A_DAY // 2, place="booth"),
        done=(Done("snails prime", "snails", at(-3, 12), cure=72 * HOUR, place="booth", holds=True),),
        van_day=5,
    )
    reading = explain(shop, planned(put("paint", at(0, 12), at(0, 16), "Bo")), "ammonite")
    assert reading.causes == (Cause(Why.PLACE, 1, "paint", "snails prime", "snails", "booth"),)


def test_a_maker_who_is_away_in_the_middle_of_another_stage_is_away_that_long() -> None:
    #          Mon Tue Wed Thu
    # dough    ##|xx|##|       Ada
    # spiral   ..|..|..|##|    waits two days for Ada's work and one for Ada
    shop = yard(
        Stage("dough", "pretzel", 2 * A_DAY),
        Stage("spiral", "ammonite", A_DAY),
        makers=(person("Ada", away=(1,)),),
        van_day=5,
    )
    at_work = planned(put("dough", at(0), at(2, 16), "Ada"), put("spiral", at(3), at(3, 16), "Ada"))
    assert causes(explain(shop, at_work, "ammonite")) == [("maker", 4, "spiral"), ("away", 2, "spiral")]


def test_who_is_usually_away_is_not_blamed_while_others_who_can_are_busy() -> None:
    #          Mon Tue Wed Thu
    # Bo       ##|##|##|##|    the pretzel
    # Kit      xx|xx|##|       comes on Wednesday and takes the ammonite
    shop = yard(
        Stage("dough", "pretzel", 4 * A_DAY),
        Stage("spiral", "ammonite", A_DAY),
        makers=(person("Bo"), person("Kit", away=(0, 1))),
        van_day=5,
    )
    at_work = planned(put("dough", at(0), at(3, 16), "Bo"), put("spiral", at(2), at(2, 16), "Kit"))
    reading = explain(shop, at_work, "ammonite")
    assert reading.causes == (Cause(Why.MAKER, 4, "spiral", "dough", "pretzel", maker="Bo"),)
    # Given to Kit, nobody else is in question.
    given = replace(shop, stages=(shop.stages[0], replace(shop.stages[1], maker="Kit")))
    assert explain(given, at_work, "ammonite").causes == (Cause(Why.AWAY, 4, "spiral", maker="Kit"),)


def test_two_who_do_it_together_wait_for_the_later_one() -> None:
    #          Mon Tue Wed
    # Ada      ##|             the snails
    # Bo       ##|##|          the pretzel
    # both     ..|..|##|
    shop = yard(
        Stage("snails sand", "snails", A_DAY),
        Stage("dough", "pretzel", 2 * A_DAY),
        Stage("fit-up", "ammonite", A_DAY, crew=2),
        van_day=5,
    )
    at_work = planned(
        put("snails sand", at(0), at(0, 16), "Ada"),
        put("dough", at(0), at(1, 16), "Bo"),
        put("fit-up", at(2), at(2, 16), "Ada", "Bo"),
    )
    reading = explain(shop, at_work, "ammonite")
    assert reading.causes == (Cause(Why.MAKER, 4, "fit-up", "dough", "pretzel", maker="Bo"),)


# Why a stage misses a day of its own.


def test_a_day_of_its_own_is_explained_as_a_van_would_be() -> None:
    #          Mon Tue Wed Thu
    # pretzel  ##|##|         Ada carves
    # ammonite ..|..|##|##|   Ada carves a sample, due on Tuesday, and then the rest; its van clears
    shop = yard(
        Stage("dough", "pretzel", 2 * A_DAY, skill="carve"),
        Stage("sample", "ammonite", A_DAY, skill="carve", due=van(1)),
        Stage("spiral", "ammonite", A_DAY, skill="carve", after=("sample",)),
        makers=(person("Ada"), person("Bo", skills="paint")),
        van_day=11,
    )
    plan = planned(
        put("dough", at(0), at(1, 16), "Ada"),
        put("sample", at(2), at(2, 16), "Ada"),
        put("spiral", at(3), at(3, 16), "Ada"),
    )
    assert explain_own(shop, plan) == {
        "sample": Reading(
            "ammonite",
            ready=at(2, 16),
            ready_day=the(2),
            van=the(1),
            hand=-1,
            over=True,
            causes=(Cause(Why.MAKER, 2, "sample", other="dough", other_job="pretzel", maker="Ada"),),
            chain=("sample",),
        )
    }
    assert explain(shop, plan, "ammonite").over is False


def test_a_stage_with_a_day_of_its_own_that_cannot_be_planned_says_only_the_day() -> None:
    shop = yard(Stage("sample", "ammonite", A_DAY, due=van(1)))
    assert explain_own(shop, Plan({})) == {"sample": Reading("ammonite", van=the(1))}
    assert explain_own(yard(Stage("spiral", "ammonite", A_DAY)), Plan({})) == {}


def test_who_was_kept_for_a_crew_was_busy_with_that() -> None:
    #          Mon Tue Wed Thu
    # Ada      ##|##|##|      the pretzel, then the snails together with Bo
    # Bo       ..|..|##|##|   is kept for the snails, then carves the ammonite
    shop = yard(
        Stage("dough", "pretzel", 2 * A_DAY),
        Stage("snails lay-up", "snails", A_DAY, crew=2),
        Stage("spiral", "ammonite", A_DAY, maker="Bo"),
        van_day=1,
    )
    at_work = planned(
        put("dough", at(0), at(1, 16), "Ada"),
        put("snails lay-up", at(2), at(2, 16), "Ada", "Bo"),
        put("spiral", at(3), at(3, 16), "Bo"),
    )
    assert explain(shop, at_work, "ammonite").causes == (
        Cause(Why.MAKER, 4, "spiral", "snails lay-up", "snails", maker="Bo"),
    )


# What has been done since the plan begins: a plan begins with its day, and may be made in its afternoon.


def test_who_did_something_else_this_morning_was_busy_with_that() -> None:
    # Ada carved the pretzel until 14:00; her paint of the ammonite has that behind it, and was not "away".
    ada = replace(person("Ada"), free_from=at(0, 14), busy_with="dough")
    shop = yard(
        Stage("paint", "ammonite", A_DAY),
        makers=(ada,),
        done=(Done("dough", "pretzel", at(0, 14)),),
        van_day=0,
    )
    reading = explain(shop, planned(put("paint", at(0, 14), at(1, 14), "Ada")), "ammonite")
    assert reading.causes == (Cause(Why.MAKER, 2, "paint", "dough", "pretzel", maker="Ada"),)


def test_what_was_done_this_morning_is_work_and_not_cure() -> None:
    ada = replace(person("Ada"), free_from=at(0, 14), busy_with="carve")
    shop = yard(
        Stage("paint", "ammonite", A_DAY, after=("carve",)),
        makers=(ada,),
        done=(Done("carve", "ammonite", at(0, 14)),),
        van_day=0,
    )
    reading = explain(shop, planned(put("paint", at(0, 14), at(1, 14), "Ada")), "ammonite")
    assert causes(reading) == [("work", 2, "paint")]


def test_what_somebody_is_at_holds_its_place_while_they_are_away() -> None:
    #          Mon Tue Wed
    # boot     xx|##|       Ada is away on Monday from what she has begun in the booth
    # ammonite ..|..|##|
    shop = yard(
        Stage("boot paint", "boot", A_DAY, place="booth", maker="Ada", begun=True),
        Stage("paint", "ammonite", A_DAY, place="booth"),
        makers=(person("Ada", away=(0,)), person("Bo")),
        van_day=0,
    )
    at_work = planned(put("boot paint", at(1), at(1, 16), "Ada"), put("paint", at(2), at(2, 16), "Bo"))
    assert explain(shop, at_work, "ammonite").causes == (
        Cause(Why.PLACE, 4, "paint", "boot paint", "boot", place="booth"),
    )


def test_a_place_that_holds_nothing_stops_no_reading() -> None:
    shop = yard(
        Stage("paint", "ammonite", A_DAY),
        done=(Done("prime", "ammonite", at(0), cure=40, place="booth", holds=True),),
        booths=0,
        van_day=5,
    )
    assert explain(shop, planned(put("paint", at(1), at(1, 16), "Bo")), "ammonite").hand == 3


# What cannot wait.


def pressing(shop: Shop, day: int = 0) -> list[str]:
    network = lay_out(shop)
    return must_start(network, plan(network), the(day))


def test_what_would_miss_its_van_if_it_began_tomorrow_cannot_wait() -> None:
    tight = Stage("tight", "ammonite", 2 * A_DAY)
    loose = Stage("loose", "pretzel", A_DAY)
    vans = {"ammonite": 1, "pretzel": 8}
    assert pressing(yard(tight, loose, vans=vans)) == ["tight"]
    assert pressing(yard(replace(tight, begun=True), loose, vans=vans)) == []  # somebody is at it
    assert pressing(yard(tight, loose, vans=vans | {"ammonite": 2})) == []


def test_a_short_stage_can_wait_though_a_long_one_would_take_its_turn() -> None:
    """Half a day's carving whose van leaves next week does not press because Ada might begin three weeks' work instead."""
    small, big = Stage("small", "ammonite", A_DAY // 2), Stage("big", "pretzel", 12 * A_DAY)
    assert pressing(yard(small, big, vans={"ammonite": 9, "pretzel": 25}, makers=(person("Ada"),))) == []


def test_what_holds_up_the_rest_of_its_job_cannot_wait() -> None:
    """Its own day, too, is a deadline; and what no day depends on never presses."""
    first = Stage("first", "ammonite", A_DAY)
    then = Stage("then", "ammonite", A_DAY, after=("first",))
    assert pressing(yard(first, then, van_day=1)) == ["first"]
    assert pressing(yard(replace(first, due=van(0)), then, van_day=8)) == ["first"]
    assert pressing(yard(first, then)) == []
