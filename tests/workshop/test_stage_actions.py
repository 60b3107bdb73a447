"""Stages changed, moved, finished for somebody; and every change that a plan is made from asks for a new one."""

from collections.abc import Callable
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from studio.workshop import actions
from studio.workshop.actions import Refused
from studio.workshop.models import (
    Absence,
    Closure,
    Entry,
    Errand,
    ErrandState,
    History,
    Job,
    Kind,
    Needs,
    Overtime,
    Person,
    Place,
    Stage,
    StageKind,
    Stuck,
    Studio,
    Wanted,
)
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db


def change(stage: Stage, **values: Any) -> Stage:
    names = ("kind", "title", "maker", "work_min", "left_min", "crew", "place", "cure_min", "cure_holds", "due_on")
    told = {name: getattr(stage, name) for name in (*names, "version")} | {"follows": list(stage.follows.all())}
    return actions.change_stage(stage, **(told | values), by=builders.lead(), now=NOW)


def test_a_new_stage_has_the_hours_place_and_cure_of_its_kind() -> None:
    lay_up = builders.stage(builders.job(), "lay-up")
    kind = StageKind.objects.get(name="lay-up")
    assert (lay_up.work_min, lay_up.crew, lay_up.place, lay_up.cure_min, lay_up.cure_holds) == (
        kind.work_min,
        kind.crew,
        Place.objects.get(name="lay-up bay"),
        24 * 60,
        True,
    )


def test_all_of_a_stage_can_be_changed() -> None:
    job = builders.job()
    stage, carving = builders.stage(job, "lay-up"), builders.stage(job, "carving")
    ada, floor = builders.person("Ada"), Place.objects.get(name="floor")
    changed = change(
        stage, maker=ada, work_min=90, crew=2, place=floor, cure_min=60, cure_holds=False, due_on=date(2026, 3, 20),
        follows=[carving],
    )  # fmt: skip
    changed.refresh_from_db()
    assert (changed.maker, changed.work_min, changed.crew, changed.place) == (ada, 90, 2, floor)
    assert (changed.cure_min, changed.cure_holds, changed.due_on) == (60, False, date(2026, 3, 20))
    assert list(changed.follows.all()) == [carving]


def test_what_is_still_to_do_is_kept_with_its_hour_until_somebody_says_it_anew() -> None:
    said = change(builders.stage(builders.job()), left_min=180)
    assert (said.left_min, said.left_said_at) == (180, NOW)
    again = actions.change_stage(
        said, kind=said.kind, title="by hand", maker=None, work_min=said.work_min, left_min=None, crew=1, place=None,
        cure_min=0, cure_holds=False, due_on=None, follows=[], version=said.version, by=builders.lead(),
        now=NOW + timedelta(days=1),
    )  # fmt: skip
    assert (again.left_min, again.left_said_at) == (180, NOW)  # the title was changed, not what was said
    later = actions.change_stage(
        again, kind=said.kind, title="by hand", maker=None, work_min=said.work_min, left_min=180, crew=1, place=None,
        cure_min=0, cure_holds=False, due_on=None, follows=[], version=again.version, by=builders.lead(),
        now=NOW + timedelta(days=2),
    )  # fmt: skip
    assert later.left_said_at == NOW + timedelta(days=2)  # the same hours, two days on: they are left now


def test_a_stage_that_follows_itself_is_refused_with_a_sentence() -> None:
    stage = builders.stage(builders.job())
    with pytest.raises(Refused, match="carving cannot follow itself"):
        change(stage, follows=[stage])


def test_a_ring_is_refused_and_names_its_stages() -> None:
    job = builders.job("Snail")
    carving, lay_up = builders.stage(job), builders.stage(job, "lay-up")
    ring = "carving of Snail, which waits for lay-up of Snail, which waits for mould of Snail, which waits for carving of Snail"
    with pytest.raises(Refused, match=rf"^That goes round in a ring: {ring}\."):
        change(carving, follows=[lay_up])
    assert not carving.follows.exists()


def test_a_stage_of_another_job_is_refused() -> None:
    stage, other = builders.stage(builders.job()), builders.stage(builders.job("Other"))
    with pytest.raises(Refused, match="belongs to another job"):
        change(stage, follows=[other])


def test_more_than_ten_thousand_hours_are_refused() -> None:
    stage = builders.stage(builders.job())
    assert change(stage, work_min=10_000 * 60).work_min == 600_000
    with pytest.raises(Refused, match="more than 10,000 hours"):
        change(Stage.objects.get(pk=stage.pk), work_min=10_000 * 60 + 15)


def test_finished_for_somebody_is_done_by_them_and_said_by_the_lead() -> None:
    job, ada, ines = builders.job(), builders.person("Ada"), builders.lead()
    yesterday, form = NOW - timedelta(hours=18), uuid4()
    stage = builders.stage(job)
    for _ in range(2):  # the form comes twice
        actions.finish_for(stage, whose=ada, done_at=yesterday, entry_id=form, by=ines, now=NOW)
    stage.refresh_from_db()
    entry = Entry.objects.get()
    assert (stage.done_by, stage.done_at, entry.by, entry.at) == (ada, yesterday, ines, NOW)
    actions.take_back(entry, by=ines, now=NOW)
    stage.refresh_from_db()
    assert stage.done_at is None


@pytest.mark.parametrize(
    ("when", "sentence"), [(timedelta(minutes=1), "still to come"), (-timedelta(days=400), "more than a year ago")]
)
def test_an_hour_that_cannot_be_is_refused(when: timedelta, sentence: str) -> None:
    stage = builders.stage(builders.job())
    with pytest.raises(Refused, match=sentence):
        actions.finish_for(
            stage, whose=builders.person("Ada"), done_at=NOW + when, entry_id=uuid4(), by=builders.lead(), now=NOW
        )
    assert not Entry.objects.exists()


def _job() -> Job:
    return Job.objects.get()


def _stage() -> Stage:
    return builders.stage(_job())


def _ada() -> Person:
    return builders.person("Ada")


def _change_job() -> None:
    names = ("name", "release", "wanted_day", "wanted_means", "fixed", "closed_on", "version")
    told = {name: getattr(_job(), name) for name in names}
    actions.change_job(_job(), **told, van_day=date(2026, 3, 20), by=builders.lead(), now=NOW)


def _change_person() -> None:
    ada = _ada()
    actions.change_person(
        ada, name="Ada", email=ada.email, role=ada.role, is_active=False, version=1, by=builders.lead(), now=NOW  # type: ignore[arg-type]
    )  # fmt: skip


def _change_kind() -> None:
    kind = StageKind.objects.get(name="carving")
    actions.change_kind(
        kind, name="carving", sentence="", work_min=60, crew=1, place=None, cure_min=0, cure_holds=False, meets=True,
        version=1, by=builders.lead(), now=NOW,
    )  # fmt: skip


def _stuck() -> Stuck:
    actions.say_stuck(entry_id=uuid4(), stage=_stage(), needs=Needs.ANSWER, by=_ada(), now=NOW)
    return Stuck.objects.get()


def _finish() -> Entry:
    return actions.finish_for(_stage(), whose=_ada(), done_at=NOW, entry_id=uuid4(), by=builders.lead(), now=NOW)


MOVES_THE_PLAN: dict[str, Callable[[Person], object]] = {
    "a stage is added": lambda by: actions.add_stage(_job().pieces.get(), kind=StageKind.objects.get(name="paint"), by=by, now=NOW),
    "a stage is changed": lambda by: change(_stage(), work_min=15),
    "a stage is moved": lambda by: actions.move_stage(_stage(), earlier=False, by=by, now=NOW),
    "a stage is removed": lambda by: actions.remove_stage(_stage(), by=by, now=NOW),
    "a stage is logged": lambda by: builders.log_done(_stage()),
    "a photo says it is begun": lambda by: builders.log_done(_stage(), photo=True),
    "a stage is finished for somebody": lambda by: _finish(),
    "a stage is taken back": lambda by: actions.take_back(_finish(), by=by, now=NOW),
    "a stage is stuck": lambda by: _stuck(),
    "what is stuck is answered": lambda by: actions.answer_stuck(_stuck(), answer="Use the grey one.", by=by, now=NOW),
    "a piece is added": lambda by: actions.add_piece(_job(), name="Base", by=by, now=NOW),
    "a piece is removed": lambda by: actions.remove_piece(_job().pieces.get(), by=by, now=NOW),
    "a job changes its van": lambda by: _change_job(),
    "a job is set out": lambda by: actions.set_out_job(
        name="Boot", client="Hillfoot School", wanted_day=None, method="carved", longest_m=None, number=1, form=uuid4(), by=by, now=NOW
    ),
    "somebody is added": lambda by: builders.person("Bo"),
    "somebody leaves": lambda by: _change_person(),
    "somebody does other work": lambda by: actions.change_work(_ada(), in_plan=False, skills=[], hours=None, version=1, by=by, now=NOW),
    "somebody is away": lambda by: actions.add_absence(_ada(), first_day=date(2026, 3, 11), last_day=date(2026, 3, 11), by=by, now=NOW),
    "somebody works longer": lambda by: actions.add_overtime(_ada(), first_day=date(2026, 3, 14), last_day=date(2026, 3, 14), starts=time(8), ends=time(12), by=by, now=NOW),
    "the shop is shut": lambda by: actions.add_closure(first_day=date(2026, 3, 11), last_day=date(2026, 3, 11), name="Stocktaking", by=by, now=NOW),
    "the shop's hours change": lambda by: actions.change_hours(hours=[[["08:00", "12:00"]]] * 7, version=1, by=by, now=NOW),
    "a place is changed": lambda by: actions.change_place(Place.objects.get(name="booth"), name="booth", capacity=2, version=1, by=by, now=NOW),
    "a place is added": lambda by: actions.add_place(name="yard", capacity=1, by=by, now=NOW),
    "a kind is changed": lambda by: _change_kind(),
    "public holidays are imported": lambda by: actions.import_public_days(country="GB", region="ENG", by=by, now=NOW, today=NOW.date()),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(MOVES_THE_PLAN))
def test_whatever_moves_the_plan_asks_for_a_new_one(what: str) -> None:
    builders.job()
    _ada()
    Errand.objects.all().delete()
    MOVES_THE_PLAN[what](builders.lead())
    assert Errand.objects.filter(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING).count() == 1


def test_what_is_said_to_a_client_is_no_fact_of_the_plan() -> None:
    builders.link(builders.job())
    entry = builders.log_done(_stage(), photo=False)
    Errand.objects.all().delete()
    actions.send_word(entry, by=builders.lead(), now=NOW)
    actions.say_nothing(entry, by=builders.lead(), now=NOW)
    assert not Errand.objects.filter(kind=Kind.REFRESH_PLAN).exists()


def test_a_new_job_has_its_pieces_stages_and_van_from_six_answers() -> None:
    actions.set_out_studio()
    actions.add_closure(
        first_day=date(2026, 4, 3), last_day=date(2026, 4, 6), name="Easter", by=builders.lead(), now=NOW
    )
    form = uuid4()
    for _ in range(2):  # the form comes twice
        job = actions.set_out_job(
            name="Snail", client="Greenacre Garden", wanted_day=date(2026, 4, 5), method="cast", longest_m=None, number=2,
            form=form, by=builders.lead(), now=NOW,
        )  # fmt: skip
    assert Job.objects.get() == job
    assert (job.van_day, job.wanted_day, job.wanted_means) == (date(2026, 4, 2), date(2026, 4, 5), Wanted.THERE)
    pieces = list(job.pieces.all())
    assert [piece.name for piece in pieces] == ["Snail, mould", "Snail 1 of 2", "Snail 2 of 2"]
    assert [[str(stage) for stage in piece.stages.all()] for piece in pieces] == [
        ["modelling", "mould"],
        ["lay-up", "filling", "fit-up", "prime", "paint", "pack"],
        ["lay-up", "filling", "fit-up", "prime", "paint", "pack"],
    ]
    # One mould makes one after the other: the second is laid up when the first is out of it.
    mould, first, second = (list(piece.stages.all()) for piece in pieces)
    assert list(first[0].follows.all()) == [mould[1]]
    assert list(second[0].follows.all()) == [first[0]]


def test_hours_go_with_the_size_and_stay_in_quarters() -> None:
    actions.set_out_studio()
    hours = {}
    for size in (None, "0.1", "0.5", "1", "2.1", "40"):
        job = actions.set_out_job(
            name="Boot", client="Hillfoot School", wanted_day=None, method="carved",
            longest_m=Decimal(size) if size else None, number=1, form=uuid4(), by=builders.lead(), now=NOW,
        )  # fmt: skip
        hours[size] = builders.stage(job).work_min / 60
    assert hours == {None: 16, "0.1": 8, "0.5": 8, "1": 16, "2.1": 33.5, "40": 48}


def test_public_holidays_are_imported_once_and_ours_stay() -> None:
    actions.set_out_studio()
    ines, today = builders.lead(), NOW.date()
    actions.add_closure(first_day=date(2026, 12, 24), last_day=date(2026, 12, 31), name="We rest", by=ines, now=NOW)
    first = actions.import_public_days(country="GB", region="ENG", by=ines, now=NOW, today=today)
    assert Closure.objects.filter(public=True, first_day=date(2026, 12, 25)).exists()
    scottish = actions.import_public_days(country="GB", region="SCT", by=ines, now=NOW, today=today)
    assert Closure.objects.filter(public=True).count() == scottish
    assert first != scottish
    assert Closure.objects.get(public=False).name == "We rest"
    assert (Studio.objects.get().country, Studio.objects.get().region) == ("GB", "SCT")
    with pytest.raises(Refused):
        actions.import_public_days(country="GB", region="nowhere", by=ines, now=NOW, today=today)


def test_a_place_where_something_is_to_be_done_stays() -> None:
    builders.job(stages=("lay-up",))
    bay, ines = Place.objects.get(name="lay-up bay"), builders.lead()
    with pytest.raises(Refused, match="still to be done at lay-up bay"):
        actions.remove_place(bay, by=ines, now=NOW)
    builders.log_done(builders.stage(_job(), "lay-up"), photo=False)
    actions.remove_place(bay, by=ines, now=NOW)
    assert not Place.objects.filter(name="lay-up bay").exists()


def test_a_shop_is_open_on_one_day_at_least() -> None:
    actions.set_out_studio()
    with pytest.raises(Refused, match="at least one day"):
        actions.change_hours(hours=[[]] * 7, version=1, by=builders.lead(), now=NOW)


@pytest.mark.parametrize(("first", "last"), [("2026-03-12", "2026-03-11"), ("2026-03-12", "2028-03-11")])
def test_days_that_cannot_be_are_refused(first: str, last: str) -> None:
    days = {"first_day": date.fromisoformat(first), "last_day": date.fromisoformat(last)}
    with pytest.raises(Refused):
        actions.add_closure(**days, name="Odd", by=builders.lead(), now=NOW)
    with pytest.raises(Refused):
        actions.add_absence(builders.person("Ada"), **days, by=builders.lead(), now=NOW)


def test_days_that_are_sent_twice_are_kept_once(published: list[str]) -> None:
    ines, ada, day = builders.lead(), _ada(), date(2026, 3, 11)
    for _ in range(2):
        actions.add_closure(first_day=day, last_day=day, name="Stocktaking", by=ines, now=NOW)
        actions.add_absence(ada, first_day=day, last_day=day, by=ines, now=NOW)
        actions.add_overtime(ada, first_day=day, last_day=day, starts=time(8), ends=time(12), by=ines, now=NOW)
    assert [rows.objects.count() for rows in (Closure, Absence, Overtime)] == [1, 1, 1]
    assert History.objects.filter(verb="added", subject__regex="^(closure|absence|overtime) ").count() == 3


def test_what_followed_a_stage_that_is_removed_follows_what_that_followed(published: list[str]) -> None:
    actions.set_out_studio()
    ines = builders.lead()
    made = actions.set_out_job(name="Snail", client="Greenacre Garden", wanted_day=date(2026, 4, 30), method="cast", longest_m=None, number=3, form=uuid4(), by=ines, now=NOW)  # fmt: skip
    mould = Stage.objects.get(piece__job=made, kind__key="mould")

    def lay_up(copy: int) -> Stage:
        return Stage.objects.get(piece__name=f"Snail {copy} of 3", kind__key="lay-up")

    second = lay_up(2)
    assert [stage.pk for stage in second.follows.all()] == [lay_up(1).pk]
    actions.remove_piece(made.pieces.get(name="Snail 1 of 3"), by=ines, now=NOW)
    assert [stage.pk for stage in second.follows.all()] == [mould.pk]
    actions.remove_stage(lay_up(2), by=ines, now=NOW)
    assert [stage.pk for stage in lay_up(3).follows.all()] == [mould.pk]


def test_a_ring_elsewhere_keeps_nobody_from_changing_a_stage() -> None:
    job = builders.job(stages=("carving", "mould", "lay-up"))
    carving, mould, lay_up = (builders.stage(job, kind) for kind in ("carving", "mould", "lay-up"))
    carving.follows.set([mould])
    mould.follows.set([carving])
    assert change(lay_up, title="by hand").title == "by hand"
    with pytest.raises(Refused, match="goes round in a ring"):
        change(mould, title="two halves")
    assert not change(carving, follows=[]).follows.exists()
