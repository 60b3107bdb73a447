"""From rows to a plan that a screen can read. The days are reckoned by hand in the comments.

NOW is Tuesday 10 March 2026, 10:42 in London. The shop is open from 8:00 to 12:30 and from 13:00 to 17:00, so 8½ hours a day,
and a plan of that day begins at 8:00.
"""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from studio.craft.causes import Why
from studio.craft.stages import Trouble
from studio.workshop import actions, duties, planning
from studio.workshop.models import (
    Errand,
    ErrandState,
    Job,
    Kind,
    Needs,
    Person,
    Place,
    Plan,
    Says,
    Stage,
    StageKind,
    Stuck,
    Studio,
)
from studio.workshop.planning import LOGGED_AHEAD, EndTold, Told, newest, word
from studio.workshop.planning.facts import fingerprint, gather
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def ada() -> Person:
    """The only one whom the plan may give work."""
    return builders.person("Ada")


def job(name: str = "Snail", van: date | None = date(2026, 3, 13), **hours: float) -> Job:
    """A job of one piece, with so many hours at each kind of work, and no cure."""
    kinds = {name.replace("_", "-"): worked for name, worked in hours.items()}
    made = builders.job(name, client=name, stages=list(kinds))
    for kind, worked in kinds.items():
        Stage.objects.filter(piece__job=made, kind__name=kind).update(work_min=round(worked * 60), crew=1, cure_min=0)
    Job.objects.filter(pk=made.pk).update(van_day=van)
    return Job.objects.get(pk=made.pk)


def told(at: datetime = NOW) -> Told:
    builders.work(at)
    found = newest()
    assert found
    return found


def told_of(of: Job, at: datetime = NOW) -> EndTold:
    return told(at).jobs[of.pk]


def spans(at: datetime = NOW) -> dict[str, tuple[str, str]]:
    """When each stage is worked at, in local time."""
    plan = told(at)
    rows = Stage.objects.select_related("kind").in_bulk(list(plan.stages))
    return {str(rows[pk]): (f"{one.start:%a %H:%M}", f"{one.end:%a %H:%M}") for pk, one in plan.stages.items()}


def test_work_runs_on_over_the_break_and_the_night() -> None:
    job(carving=11)  # 4½ hours before the break, 4 after it, and 2½ are left for Wednesday
    assert spans() == {"carving": ("Tue 08:00", "Wed 10:30")}


def test_within_the_day_the_clock_alone_moves_nothing() -> None:
    job("One", carving=11, paint=3)
    job("Two", carving=5, paint=9)
    first = told(NOW).stages
    for hour in (7, 12, 16):
        Plan.objects.all().delete()
        Errand.objects.update(state=ErrandState.WAITING, done_at=None)
        assert dict(told(NOW.replace(hour=hour, minute=29)).stages) == dict(first)


def test_once_the_shop_is_shut_for_the_day_nothing_begins_on_it() -> None:
    made = job(carving=1)
    assert told_of(made, NOW.replace(hour=17)).ready == date(2026, 3, 11)
    assert spans(NOW.replace(hour=17)) == {"carving": ("Wed 08:00", "Wed 09:00")}


def test_whoever_finished_something_today_was_at_it_until_then(ada: Person) -> None:
    made = job(carving=1, paint=1)
    job("Other", pack=1, van=None)
    builders.log_done(builders.stage(made), photo=False)
    assert spans() == {"paint": ("Tue 10:45", "Tue 11:45"), "pack": ("Tue 11:45", "Tue 13:15")}


def test_a_cure_runs_through_the_night_and_keeps_its_place() -> None:
    first, second = job("One", lay_up=1), job("Two", lay_up=1, van=date(2026, 3, 20))
    Place.objects.update(capacity=1)
    Stage.objects.update(cure_min=24 * 60, cure_holds=True)
    plan = told()
    by_job = {stage.piece.job_id: plan.stages[stage.pk] for stage in Stage.objects.select_related("piece")}
    # One is laid up until 9:00 and keeps the bay until Wednesday, 9:00. Two waits for it though nobody else works.
    assert f"{by_job[first.pk].cured:%a %H:%M}" == "Wed 09:00"
    assert f"{by_job[second.pk].start:%a %H:%M}" == "Wed 09:00"
    cause = plan.jobs[second.pk].causes[0]
    assert (cause.why, cause.other_job, cause.place) == (Why.PLACE, first.pk, Place.objects.get(name="lay-up bay").pk)


def test_ready_and_in_hand_are_days(ada: Person) -> None:
    made = job(carving=10, paint=10)  # ready on Thursday; the van leaves on Friday
    found = told_of(made)
    assert (found.ready, found.hand, found.over, found.held, found.causes) == (date(2026, 3, 12), 1, False, False, ())


@pytest.mark.parametrize(
    ("van", "hand", "said", "said_fixed"),
    [
        (date(2026, 3, 10), -1, "over", "over"),  # today; it is ready tomorrow
        (date(2026, 3, 11), 0, "tight", "tight"),
        (date(2026, 3, 13), 2, "tight", "tight"),
        (date(2026, 3, 16), 3, "in hand", "tight"),  # Monday: the weekend counts for nothing
        (date(2026, 3, 17), 4, "in hand", "in hand"),
        (date(2026, 3, 2), -7, "over", "over"),  # a van that has gone
        (None, None, "", ""),
    ],
)
def test_the_word_of_a_job(van: date | None, hand: int | None, said: str, said_fixed: str) -> None:
    found = told_of(job(carving=10, van=van))  # ready on Wednesday
    assert (found.ready, found.hand) == (date(2026, 3, 11), hand)
    assert (word(found, False), word(found, True)) == (said, said_fixed)


def test_what_is_begun_counts_from_when_it_was_begun(ada: Person) -> None:
    made = job(carving=17)
    monday = NOW - timedelta(days=1)
    actions.log_at_bench(
        entry_id=uuid4(), stage=builders.stage(made), says=Says.PHOTO, photos=builders.kept(), by=ada, now=monday
    )
    # Monday from 10:45 on were 5¾ hours. What is left: 8½ today, 2¾ tomorrow.
    assert spans() == {"carving": ("Tue 08:00", "Wed 10:45")}


def test_what_somebody_says_is_left_counts_from_when_it_was_said() -> None:
    made = job(carving=40)
    Stage.objects.update(left_min=120, left_said_at=NOW.replace(hour=9, minute=45))
    assert spans() == {"carving": ("Tue 09:45", "Tue 11:45")}
    assert told_of(made).ready == date(2026, 3, 10)


def test_what_was_to_be_over_by_now_and_is_not_logged_is_not_over() -> None:
    job(carving=40)
    Stage.objects.update(left_min=60, left_said_at=NOW - timedelta(days=3))
    assert spans() == {"carving": ("Tue 08:00", "Tue 08:15")}


def test_stuck_holds_the_stage_until_it_is_answered(ada: Person) -> None:
    made = job(carving=1, van=date(2026, 3, 11))
    actions.say_stuck(entry_id=uuid4(), stage=builders.stage(made), needs=Needs.ANSWER, by=ada, now=NOW)
    found = told_of(made)
    assert spans() == {"carving": ("Wed 08:00", "Wed 09:00")}  # tomorrow at the earliest, and each day anew
    assert (found.held, found.ready, found.hand, found.causes[0].why) == (True, date(2026, 3, 11), 0, Why.HELD)
    later = NOW + timedelta(days=1)
    assert spans(later) == {
        "carving": ("Wed 08:00", "Wed 09:00")
    }  # the plan of yesterday, until the new day's is asked for
    duties.ask_for_todays_plan(later)
    assert spans(later) == {"carving": ("Thu 08:00", "Thu 09:00")}
    actions.answer_stuck(Stuck.objects.get(), answer="Use the grey one.", by=builders.lead(), now=later)
    assert spans(later) == {"carving": ("Wed 08:00", "Wed 09:00")}


def test_absence_overtime_and_closures_move_the_work(ada: Person) -> None:
    job(carving=11)  # 8½ on Tuesday, 2½ on the next day that there is
    ines = builders.lead()
    actions.add_absence(ada, first_day=date(2026, 3, 11), last_day=date(2026, 3, 12), by=ines, now=NOW)
    assert spans() == {"carving": ("Tue 08:00", "Fri 10:30")}
    actions.add_closure(first_day=date(2026, 3, 13), last_day=date(2026, 3, 13), name="Stocktaking", by=ines, now=NOW)
    assert spans() == {"carving": ("Tue 08:00", "Mon 10:30")}
    actions.add_overtime(
        ada, first_day=date(2026, 3, 14), last_day=date(2026, 3, 14), starts=time(9), ends=time(11), by=ines, now=NOW
    )
    assert spans() == {"carving": ("Tue 08:00", "Mon 08:30")}
    actions.change_work(
        ada, in_plan=True, skills=[], hours=[[["13:00", "17:00"]] for _ in range(7)], version=1, by=ines, now=NOW
    )
    # 4 on Tuesday; on Saturday 2 of overtime, and 4 of her own week; the last on Sunday.
    assert spans() == {"carving": ("Tue 13:00", "Sun 14:00")}


def test_pieces_run_side_by_side_and_meet_at_fit_up(ada: Person) -> None:
    builders.person("Bo")
    made = job(carving=1, fit_up=1)
    bracket = actions.add_piece(made, name="Bracket", by=builders.lead(), now=NOW)
    kind = StageKind.objects.get(name="carpentry")
    actions.add_stage(bracket, kind=kind, work_min=150, by=builders.lead(), now=NOW - timedelta(days=1))
    assert spans() == {
        "carving": ("Tue 08:00", "Tue 09:00"),
        "carpentry": ("Tue 08:00", "Tue 10:30"),
        "fit-up": ("Tue 10:30", "Tue 11:30"),
    }


def test_what_is_done_may_still_be_curing(ada: Person) -> None:
    made = job(lay_up=1, paint=1)
    Stage.objects.filter(kind__name="lay-up").update(cure_min=24 * 60)
    builders.log_done(builders.stage(made, "lay-up"), photo=False)
    assert spans() == {"paint": ("Wed 10:45", "Wed 11:45")}


def test_a_job_all_done_is_ready_when_the_last_has_cured() -> None:
    made = job(paint=1)
    Stage.objects.update(cure_min=24 * 60)
    builders.log_done(builders.stage(made, "paint"), photo=False)
    assert told_of(made).ready == date(2026, 3, 11)


def test_a_stage_given_to_somebody_waits_for_them() -> None:
    bo = builders.person("Bo")
    one, two = job("One", carving=5), job("Two", carving=1, van=date(2026, 3, 20))
    Stage.objects.update(maker=bo)
    plan = told()
    stage = builders.stage(two)
    assert plan.stages[stage.pk].makers == (bo.pk,)
    assert f"{plan.stages[stage.pk].start:%H:%M}" == "13:30"  # the lunch break is nobody's
    assert [(cause.why, cause.other_job, cause.maker) for cause in plan.jobs[two.pk].causes] == [
        (Why.MAKER, one.pk, bo.pk)
    ]


def test_a_lead_does_what_she_is_given_and_nothing_else() -> None:
    ines = builders.lead()
    made, other = job("One", carving=1), job("Two", carving=1)
    builders.stage(made)
    Stage.objects.filter(piece__job=made).update(maker=ines)
    plan = told()
    assert plan.stages[builders.stage(made).pk].makers == (ines.pk,)
    assert plan.stages[builders.stage(other).pk].makers == (Person.objects.get(name="Ada").pk,)


def test_the_stages_of_somebody_who_left_are_everybodys(ada: Person) -> None:
    bo = builders.person("Bo")
    made = job(carving=1)
    Stage.objects.update(maker=bo)
    Person.objects.filter(pk=bo.pk).update(is_active=False)
    assert told().stages[builders.stage(made).pk].makers == (ada.pk,)


def test_a_stage_with_a_day_of_its_own_is_a_deadline_of_its_own() -> None:
    made = job(carving=10, paint=1, van=date(2026, 3, 20))
    stage = builders.stage(made)
    Stage.objects.filter(pk=stage.pk).update(due_on=date(2026, 3, 10))
    found = told().deadlines[stage.pk]
    assert (found.ready, found.hand, found.over) == (date(2026, 3, 11), -1, True)
    assert told_of(made).over is False


def test_what_must_start_today_is_named() -> None:
    tight = job(
        "Tight", carving=10, van=date(2026, 3, 11)
    )  # from tomorrow at 8:00 on it would take until Thursday, 9:30
    job("Loose", paint=1, van=date(2026, 3, 20))
    assert told().must_start == (builders.stage(tight).pk,)


def troubles(at: datetime = NOW) -> list[tuple[str, int | None]]:
    return [(problem.trouble, problem.number) for problem in told(at).problems]


def test_trouble_is_named_and_the_rest_is_planned(ada: Person) -> None:
    good, bad = job("Good", paint=1), job("Bad", carving=1, prime=1)
    carving = StageKind.objects.get(name="carving")
    ada.skills.set(StageKind.objects.exclude(pk=carving.pk))
    plan = told()
    assert [(problem.trouble, problem.job) for problem in plan.problems] == [
        (Trouble.NOBODY_CAN, bad.pk),
        (Trouble.FOLLOWS_TROUBLE, bad.pk),
    ]
    assert plan.jobs[bad.pk].ready is None
    assert plan.jobs[good.pk].ready == date(2026, 3, 10)


def test_nobody_at_all_is_a_problem_and_not_an_error(ada: Person) -> None:
    job(carving=1)
    Person.objects.filter(pk=ada.pk).update(in_plan=False)
    assert troubles() == [(Trouble.NOBODY_CAN, 0)]


def test_no_hours_count_as_nothing_and_are_named() -> None:
    made = job(carving=0, paint=1)
    assert troubles() == [(Trouble.ZERO_HOURS, 0)]
    assert told_of(made).ready == date(2026, 3, 10)


def test_ten_thousand_hours_do_not_fit_and_are_named() -> None:
    made = job(carving=10_000)
    assert troubles()[0][0] == Trouble.TOO_LONG
    assert told_of(made).ready is None


def test_closed_for_a_month_is_a_cause_and_not_an_error() -> None:
    made = job(carving=1, van=date(2026, 4, 9))
    actions.add_closure(
        first_day=date(2026, 3, 10), last_day=date(2026, 4, 9), name="The roof", by=builders.lead(), now=NOW
    )
    found = told_of(made)
    assert (found.ready, found.over) == (date(2026, 4, 10), True)
    assert found.causes[0].why == Why.CLOSED


def test_a_ring_is_named() -> None:
    made = job(carving=1, paint=1)
    carving, paint = builders.stage(made), builders.stage(made, "paint")
    carving.follows.set([paint])  # past the action, which refuses it
    assert {trouble for trouble, _ in troubles()} == {Trouble.FOLLOWS_ITSELF}


def test_done_out_of_order_is_named_and_the_rest_goes_on() -> None:
    made = job(carving=1, paint=1, pack=1)
    builders.log_done(builders.stage(made, "paint"), photo=False)
    assert Trouble.OUT_OF_ORDER in {trouble for trouble, _ in troubles()}
    assert set(spans()) == {"carving", "pack"}


def test_a_clock_that_was_wrong_is_named_and_changes_nothing_else() -> None:
    made = job(carving=1, paint=1)
    builders.log_done(builders.stage(made), photo=False, now=NOW + timedelta(days=30))
    assert (LOGGED_AHEAD, 0) in troubles()
    assert spans() == {"paint": ("Tue 10:45", "Tue 11:45")}


def test_jobs_that_are_closed_are_not_planned() -> None:
    made = job(carving=1)
    Job.objects.update(closed_on=date(2026, 3, 9))
    plan = told()
    assert (dict(plan.jobs), len(plan.stages)) == ({}, 0)
    assert made.pk not in plan.jobs


def test_a_job_with_nothing_set_out_has_no_day() -> None:
    found = told_of(job())
    assert (found.ready, found.hand, found.over, found.causes) == (None, None, False, ())


def test_the_same_facts_on_the_same_day_are_planned_once() -> None:
    job(carving=1)
    first = told()
    builders.confirm(Job.objects.get(), words="All is well.")  # words are no fact of the plan
    actions.change_studio(
        name="Bodkin Yard", time_zone="Europe/London", undo_minutes=5, version=1, by=builders.lead(), now=NOW
    )
    assert told(NOW + timedelta(hours=2)).made_at == first.made_at
    assert Plan.objects.count() == 1
    Stage.objects.update(work_min=90)
    builders.log_done(builders.stage(job("Other", paint=1), "paint"), photo=False, now=NOW + timedelta(hours=2))
    assert told(NOW + timedelta(hours=2)).made_at == NOW + timedelta(hours=2)


def test_each_day_has_a_plan_of_its_own_asked_for_once() -> None:
    job(carving=1)
    told()
    just_before, midnight = datetime(2026, 3, 10, 23, 59, tzinfo=UTC), datetime(2026, 3, 11, tzinfo=UTC)
    waiting = Errand.objects.filter(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING)
    duties.ask_for_todays_plan(just_before)
    assert not waiting.exists()
    for _ in range(2):
        duties.ask_for_todays_plan(midnight)
    assert waiting.count() == 1
    assert planning.stale()
    assert told(midnight).day == date(2026, 3, 11)
    assert not planning.stale()


@pytest.mark.parametrize("zone", ["Asia/Kathmandu", "America/St_Johns", "Australia/Lord_Howe"])
def test_days_are_those_of_the_studio(zone: str) -> None:
    actions.set_out_studio()
    Studio.objects.update(time_zone=zone)
    job(carving=8.5)
    plan = told()
    only = next(iter(plan.stages.values()))
    assert str(only.start.utcoffset()) == str(only.end.utcoffset()) != "0:00:00"
    assert f"{only.end:%M}" in {"00", "15", "30", "45"}


def test_the_order_of_rows_changes_nothing() -> None:
    job("One", carving=3, paint=2)
    job("Two", carving=3, paint=2)
    facts = gather(NOW)
    print_of_them = fingerprint(facts)
    assert fingerprint(dict(reversed(facts.items()))) == print_of_them


def _queries(of: Any) -> int:
    with CaptureQueriesContext(connection) as captured:
        of()
    return len(captured)


def test_the_questions_to_the_database_do_not_grow() -> None:
    job("First", carving=1, paint=1)
    few = _queries(lambda: gather(NOW))
    for number in range(12):
        made = job(f"Job {number}", carving=1, paint=1)
        builders.person(f"Maker{number}").skills.set(StageKind.objects.filter(name__in=["carving", "paint"]))
        actions.say_stuck(
            entry_id=uuid4(), stage=builders.stage(made), needs=Needs.HAND, by=builders.person("Ada"), now=NOW
        )
        builders.stage(made, "paint").follows.set([builders.stage(made)])
    told()
    assert _queries(lambda: gather(NOW)) == few
    assert _queries(newest) == 1


# What somebody is at.


MONDAY = datetime(2026, 3, 9, 8, tzinfo=UTC)


def photo(stage: Stage, by: Person, now: datetime) -> None:
    actions.log_at_bench(entry_id=uuid4(), stage=stage, says=Says.PHOTO, photos=builders.kept(), by=by, now=now)


def test_time_in_which_it_was_stuck_is_not_work(ada: Person) -> None:
    stage = builders.stage(job(carving=17))
    photo(stage, ada, MONDAY)  # 15 of 17 hours are left when it is stuck, and when it goes on a day later
    stuck = builders.say_stuck(stage, by=ada, now=MONDAY + timedelta(hours=2))
    tuesday, wednesday = MONDAY + timedelta(days=1), MONDAY + timedelta(days=2)
    assert spans(tuesday) == {"carving": ("Wed 08:00", "Thu 15:00")}
    actions.answer_stuck(Stuck.objects.get(entry=stuck), answer="Here.", by=builders.lead(), now=tuesday)
    assert spans(tuesday) == {"carving": ("Tue 08:00", "Wed 15:00")}
    duties.ask_for_todays_plan(wednesday)
    assert spans(wednesday) == {"carving": ("Wed 08:00", "Wed 15:00")}  # Tuesday was worked


def test_a_photo_taken_in_passing_gives_nobody_the_work(ada: Person) -> None:
    kit, ines = builders.person("Kit"), builders.lead()
    stage = builders.stage(job(carving=16))
    kit.skills.set(StageKind.objects.filter(name="pack"))
    for by in (kit, ines):
        photo(stage, by, NOW)
        assert told().stages[stage.pk].makers == (ada.pk,)


def carved(seventeen_hours: Stage) -> tuple[str, str]:
    """By whom, and until when: Tuesday evening where Monday was worked, else Wednesday evening."""
    placed = told().stages[seventeen_hours.pk]
    return Person.objects.get(pk=placed.makers[0]).name, f"{placed.end:%a %H:%M}"


def test_a_photo_taken_in_passing_begins_nothing(ada: Person) -> None:
    kit, ines = builders.person("Kit"), builders.lead()
    one, two = builders.stage(job("One", carving=17, van=None)), builders.stage(job("Two", carving=17))
    kit.skills.set(StageKind.objects.filter(name="pack"))
    for by in (kit, ines):
        photo(one, by, MONDAY)
    assert (carved(two), carved(one)) == (("Ada", "Wed 17:00"), ("Ada", "Fri 17:00"))  # its van is later


@pytest.mark.parametrize("ticks", [(), ("carving", "pack")])
def test_a_lead_in_the_plan_begins_what_she_does(ada: Person, ticks: tuple[str, ...]) -> None:
    ines, stage = builders.lead(), builders.stage(job(carving=17))
    Person.objects.filter(pk=ines.pk).update(in_plan=True)
    ines.skills.set(StageKind.objects.filter(name__in=ticks))
    photo(stage, ines, MONDAY)
    assert carved(stage) == ("Ines", "Tue 17:00")


@pytest.mark.parametrize("in_plan", [True, False])
def test_whoever_is_given_a_stage_begins_it_whatever_they_do(ada: Person, in_plan: bool) -> None:
    kit, stage = builders.person("Kit"), builders.stage(job(carving=17))
    Person.objects.filter(pk=kit.pk).update(in_plan=in_plan)
    kit.skills.set(StageKind.objects.filter(name="pack"))
    Stage.objects.update(maker=kit)
    photo(stage, kit, MONDAY)
    assert carved(stage) == ("Kit", "Tue 17:00")


def test_a_photo_taken_in_passing_takes_no_work_from_whoever_is_at_it(ada: Person) -> None:
    kit, stage = builders.person("Kit"), builders.stage(job(carving=17))
    builders.person("Bo").skills.set(StageKind.objects.filter(name="carving"))  # who would be asked first
    kit.skills.set(StageKind.objects.filter(name="pack"))
    for by in (ada, kit):
        photo(stage, by, MONDAY)
    assert carved(stage) == ("Ada", "Tue 17:00")


def test_what_somebody_began_who_left_since_is_begun(ada: Person) -> None:
    bo, stage = builders.person("Bo"), builders.stage(job(carving=17))
    photo(stage, bo, MONDAY)
    Person.objects.filter(pk=bo.pk).update(is_active=False)
    assert carved(stage) == ("Ada", "Tue 17:00")


def test_hours_that_passed_are_work_of_one_stage_alone(ada: Person) -> None:
    one, two = builders.stage(job("One", carving=34)), builders.stage(job("Two", carving=17))
    photo(one, ada, MONDAY)
    photo(two, ada, MONDAY + timedelta(hours=2))  # of 51 hours 2 went to the first, 6½ to the second
    plan = told(MONDAY + timedelta(days=1))
    worked = [plan.stages[stage.pk].end - plan.stages[stage.pk].start for stage in (one, two)]
    assert max(plan.stages[stage.pk].end for stage in (one, two)) == datetime(2026, 3, 16, 17, tzinfo=UTC)
    assert min(worked) > timedelta(hours=10.5)


def test_nothing_left_to_do_is_no_missing_hours(ada: Person) -> None:
    stage = builders.stage(job(carving=8))
    Stage.objects.filter(pk=stage.pk).update(left_min=0, left_said_at=NOW)
    assert told().problems == ()
    assert spans() == {"carving": ("Tue 10:45", "Tue 11:00")}  # until it is logged


def test_a_job_set_out_in_the_afternoon_was_not_worked_at_in_the_morning() -> None:
    late = job("Boot", carving=8, van=date(2026, 3, 10))
    at = NOW.replace(hour=16, minute=30)
    Stage.objects.update(added_at=at)
    found = told_of(late, at)
    assert (found.over, found.ready) == (True, date(2026, 3, 11))
    assert [cause.why for cause in found.causes] == [Why.WORK]


def test_who_did_something_else_this_morning_is_not_away(ada: Person) -> None:
    one, two = job("One", carving=1, van=None), job("Two", paint=8, van=date(2026, 3, 10))
    stage = builders.stage(one)
    builders.log_done(stage, photo=False, now=NOW.replace(hour=14), by=ada)
    cause = told_of(two, NOW.replace(hour=14)).causes[0]
    assert (cause.why, cause.other, cause.maker) == (Why.MAKER, stage.pk, ada.pk)


def test_what_was_logged_out_of_turn_lets_nothing_run_ahead(ada: Person) -> None:
    made = job(carving=8.5, paint=1, pack=1)
    builders.log_done(builders.stage(made, "paint"), photo=False, now=NOW - timedelta(days=1))
    assert spans() == {"carving": ("Tue 08:00", "Tue 17:00"), "pack": ("Wed 08:00", "Wed 09:00")}


def test_days_over_are_counted_however_long_ago_the_van_was() -> None:
    made = job(carving=1, van=date(2025, 11, 10))  # a Monday; 120 days, of which 34 were weekends
    assert told_of(made).hand == -86


def test_days_over_a_day_of_a_stages_own_are_counted_however_long_ago_it_was() -> None:
    made = job(carving=1, van=date(2026, 3, 20))
    Stage.objects.update(due_on=date(2025, 11, 10))
    found = told().deadlines[builders.stage(made).pk]
    assert (found.hand, found.cut) == (-86, False)


def test_a_van_of_years_ago_is_over_by_more_than_is_counted() -> None:
    """From a year and a month ago on days are counted: 400 of them, and today."""
    first = NOW.date() - timedelta(days=400)
    for van, cut in ((date(2020, 1, 1), True), (first - timedelta(days=2), True), (first - timedelta(days=1), False)):
        found = told_of(job(f"Of {van}", carving=1, van=van))
        assert (found.due, found.over, found.cut) == (van, True, cut)
        assert (sum(cause.half_days for cause in found.causes) == -2 * (found.hand or 0)) is not cut


def test_a_plan_says_which_day_it_was_measured_against() -> None:
    made, free = job(carving=1, van=date(2026, 3, 20)), job("Boot", carving=1, van=None)
    Stage.objects.filter(piece__job=made).update(due_on=date(2026, 3, 12))
    plan = told()
    assert (plan.jobs[made.pk].due, plan.jobs[free.pk].due) == (date(2026, 3, 20), None)
    assert plan.deadlines[builders.stage(made).pk].due == date(2026, 3, 12)


def test_after_a_clock_that_was_ahead_each_day_still_has_its_plan() -> None:
    job(carving=1)
    told(NOW + timedelta(days=7))
    duties.ask_for_todays_plan(NOW)
    assert told().day == NOW.date()


def test_a_plan_that_was_kept_in_another_form_is_none_and_is_drawn_anew() -> None:
    job(carving=1)
    told()
    row = Plan.objects.get()
    Plan.objects.update(answer={**row.answer, "form": 0})
    assert newest() is None
    duties.ask_for_todays_plan(NOW + timedelta(minutes=1))
    assert told(NOW + timedelta(minutes=1)).stages


def test_stages_without_hours_cost_no_plan_each() -> None:
    """A van that is missed makes each stage of today a question; those that take no time answer themselves."""
    for number in range(60):
        made = job(f"Job {number}", carving=0, van=date(2026, 3, 9))
    assert told().must_start == ()
    assert told_of(made).over


def test_what_was_done_in_between_is_no_work_of_what_was_begun_before(ada: Person) -> None:
    """Of 25½ hours two went to the first on Monday; then Ada was at the second until Tuesday evening."""
    one, two = builders.stage(job("One", carving=25.5)), builders.stage(job("Two", carving=20))
    photo(one, ada, MONDAY)
    photo(two, ada, MONDAY + timedelta(hours=2))
    builders.log_done(two, by=ada, photo=False, now=MONDAY + timedelta(hours=33))
    wednesday = told(MONDAY + timedelta(days=2)).stages[one.pk]
    assert wednesday.end == datetime(2026, 3, 13, 15, tzinfo=UTC)  # 23½ hours: 8½, 8½, and 6½ on Friday


def test_what_somebody_began_is_worked_also_when_another_goes_on_with_it(ada: Person) -> None:
    bo = builders.person("Bo")
    stage = builders.stage(job(carving=17))
    photo(stage, ada, MONDAY)
    actions.add_absence(bo, first_day=date(2026, 3, 9), last_day=date(2026, 3, 9), by=builders.lead(), now=NOW)
    Stage.objects.filter(pk=stage.pk).update(maker=bo)
    assert told().stages[stage.pk].end == datetime(2026, 3, 10, 17, tzinfo=UTC)  # Ada worked all of Monday


def test_what_is_begun_and_stuck_keeps_its_place(ada: Person) -> None:
    bo = builders.person("Bo")
    one, two = builders.stage(job("One", paint=8), "paint"), builders.stage(job("Two", paint=40), "paint")
    Place.objects.update(capacity=1)
    photo(one, ada, MONDAY)
    builders.say_stuck(one, by=ada, now=MONDAY + timedelta(hours=2))
    plan = told()
    assert plan.stages[one.pk].makers == (ada.pk,)
    assert plan.stages[two.pk].makers in {(bo.pk,), (ada.pk,)}
    assert plan.stages[two.pk].start >= plan.stages[one.pk].end
