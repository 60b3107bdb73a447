"""What is told to help was tried. The days are reckoned by hand: 8½ hours a day, and today is Tuesday 10 March 2026, from 8:00."""

from datetime import date, datetime, time, timedelta

import pytest

from studio.workshop import actions
from studio.workshop.models import Job, Person, Place, Stage, StageKind, Stuck
from studio.workshop.planning import Act, Help, Longer
from tests import builders
from tests.conftest import NOW
from tests.workshop.test_planning import job, told, told_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def ada() -> Person:
    return builders.person("Ada")


def stage(of: Job, kind: str) -> Stage:
    return builders.stage(of, kind)


def test_a_longer_day_and_one_more_at_it(ada: Person) -> None:
    """Of 20 hours 3 are left on Thursday; by ten and a half hours a day it is over on Wednesday, by two people sooner still."""
    made = job(carving=20, van=date(2026, 3, 11))
    assert told_of(made).helps == (Help(Act.LONGER, ada.pk, 2),)  # there is nobody else
    builders.person("Bo")
    Stage.objects.update(title="again")
    actions.add_absence(ada, first_day=date(2026, 6, 1), last_day=date(2026, 6, 1), by=builders.lead(), now=NOW)
    assert told_of(made).helps[0] == Help(Act.MORE, stage(made, "carving").pk, 2)


def test_longer_days_are_tried_as_one_form_adds_them(ada: Person) -> None:
    """Ada is away on Tuesday, the shop is closed on Thursday, and on Fridays she works four hours. Of 39 hours 38 are over on
    Wednesday the 18th; with two more a day 37½ are over on the Tuesday, and with two more on the closed day all would be."""
    ines = builders.lead()
    short = [[["08:00", "12:30"], ["13:00", "17:00"]]] * 4 + [[["08:00", "12:00"]], [], []]
    actions.change_work(ada, in_plan=True, skills=[], hours=short, version=ada.version, by=ines, now=NOW)
    away, closed = date(2026, 3, 10), date(2026, 3, 12)
    actions.add_absence(ada, first_day=away, last_day=away, by=ines, now=NOW)
    actions.add_closure(first_day=closed, last_day=closed, name="Stocktaking", by=ines, now=NOW)
    made = job(carving=39, van=date(2026, 3, 13))
    promised = told_of(made)
    assert Help(Act.LONGER, ada.pk, 2) in promised.helps
    days = told().longer
    assert days == {ada.pk: Longer("2026-03-11", "2026-03-23", "17:00", "19:00")}
    first, last = (date.fromisoformat(day) for day in days[ada.pk][:2])
    starts, ends = (time.fromisoformat(hour) for hour in days[ada.pk][2:])
    actions.add_overtime(ada, first_day=first, last_day=last, starts=starts, ends=ends, by=ines, now=NOW)
    assert (promised.hand, told_of(made).hand) == (-4, -3)


@pytest.mark.parametrize(("end", "helped"), [("21:45", True), ("22:00", False), ("00:00", False)])
def test_nobody_is_asked_to_work_longer_into_the_night(ada: Person, end: str, helped: bool) -> None:
    late = [[["14:00", end]]] * 5 + [[], []]
    actions.set_out_studio()
    actions.change_hours(hours=late, version=1, by=builders.lead(), now=NOW)
    made = job(carving=40, van=date(2026, 3, 11))
    assert bool(told_of(made).helps) is helped
    assert told().longer == ({ada.pk: Longer("2026-03-10", "2026-03-23", "21:45", "23:45")} if helped else {})


def test_room_for_one_more_in_a_place_that_is_taken(ada: Person) -> None:
    """Both paint today; the booth takes one for 8 hours and its cure of three days."""
    builders.person("Bo")
    Place.objects.update(capacity=1)
    one, two = job("One", prime=8, van=date(2026, 3, 13)), job("Two", prime=8, van=date(2026, 3, 13))
    Place.objects.update(capacity=1)
    Stage.objects.update(cure_min=72 * 60, cure_holds=True)
    plan = told()
    late = max(plan.jobs.values(), key=lambda end: end.ready or date.min)
    booth = Place.objects.get(name="booth")
    assert late.job in {one.pk, two.pk}
    assert (late.helps[0].act, late.helps[0].subject) == (Act.ROOM, booth.pk)


def test_an_answer_today(ada: Person) -> None:
    made = job(carving=8, van=date(2026, 3, 10))
    builders.say_stuck(stage(made, "carving"), by=ada, now=NOW)
    found = told_of(made)
    assert (found.held, found.hand, found.helps) == (True, -1, (Help(Act.ANSWER, stage(made, "carving").pk, 2),))
    actions.answer_stuck(Stuck.objects.get(), answer="Grey.", by=builders.lead(), now=NOW)
    assert told_of(made).hand == 0  # as it was told


def test_what_was_given_to_somebody_can_be_given_to_others(ada: Person) -> None:
    """Bo is away until Friday, and the carving was given to Bo."""
    bo = builders.person("Bo")
    made = job(carving=8, van=date(2026, 3, 11))
    Stage.objects.update(maker=bo)
    actions.add_absence(bo, first_day=date(2026, 3, 10), last_day=date(2026, 3, 12), by=builders.lead(), now=NOW)
    found = told_of(made)
    assert (found.hand, found.helps) == (-2, (Help(Act.OTHERS, stage(made, "carving").pk, 6),))
    Stage.objects.update(maker=None)
    builders.log_done(stage(job("Other", paint=1), "paint"), photo=False, now=NOW - timedelta(days=3))
    assert told_of(made).hand == 1


def test_working_on_closed_days() -> None:
    made = job(carving=10, van=date(2026, 3, 11))
    day = date(2026, 3, 11)
    actions.add_closure(first_day=day, last_day=day, name="Stocktaking", by=builders.lead(), now=NOW)
    assert told_of(made).helps[0].act is Act.OPEN


def test_one_less_at_what_waits_for_two(ada: Person) -> None:
    """Bo is away all week: what takes two waits, and Ada alone would need two days instead of one."""
    bo = builders.person("Bo")
    actions.add_absence(bo, first_day=date(2026, 3, 10), last_day=date(2026, 3, 20), by=builders.lead(), now=NOW)
    made = job(mould=8, van=date(2026, 3, 13))
    Stage.objects.update(crew=2, cure_min=0)
    found = told_of(made)
    assert found.over
    assert Help(Act.FEWER, stage(made, "mould").pk, 16) in found.helps  # from Mon 23 to Wed 11 March: eight worked days


def test_what_would_make_another_late_is_not_told(ada: Person) -> None:
    """Bo has the carving, and is away; Ada could do it, but not before her own van, unless that is far."""
    bo = builders.person("Bo")
    bo.skills.set(StageKind.objects.filter(name="carving"))
    made, own = job("One", carving=17, van=date(2026, 3, 11)), job("Two", paint=17, van=date(2026, 3, 12))
    bo.skills.set(StageKind.objects.filter(name="carving"))
    Stage.objects.filter(piece__job=made).update(maker=bo)
    actions.add_absence(bo, first_day=date(2026, 3, 10), last_day=date(2026, 3, 20), by=builders.lead(), now=NOW)
    assert [one.act for one in told_of(made).helps] == []
    Job.objects.filter(pk=own.pk).update(van_day=date(2026, 4, 20))
    later = datetime(2026, 3, 10, 11, tzinfo=NOW.tzinfo)
    builders.log_done(stage(job("Other", paint=1), "paint"), photo=False, now=NOW - timedelta(days=3))
    assert [one.act for one in told_of(made, later).helps] == [Act.OTHERS]


def test_what_has_days_to_spare_is_not_tried() -> None:
    made = job(carving=8, van=date(2026, 3, 31))
    assert told_of(made).helps == ()
