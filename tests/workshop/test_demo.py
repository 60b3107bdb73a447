"""The demo studio tells the same story whatever day it is loaded on."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command

from fixtures.photos.draw import DRAWINGS
from studio.workshop import duties, planning
from studio.workshop.duties.plan import ask_for_todays_plan
from studio.workshop.management.commands import demo as command
from studio.workshop.models import (
    Closure,
    Confirmation,
    Entry,
    Errand,
    ErrandState,
    Job,
    Kind,
    Letter,
    Notice,
    NoticeState,
    Photo,
    PhotoState,
    Piece,
    Plan,
    Release,
    Says,
    Stuck,
    Studio,
)
from tests import builders

pytestmark = pytest.mark.django_db

DAYS = {
    "a Monday": datetime(2026, 11, 30, 8, 10, tzinfo=UTC),
    "a Wednesday evening": datetime(2027, 6, 16, 20, 45, tzinfo=UTC),
    "a Friday": datetime(2026, 11, 27, 15, 30, tzinfo=UTC),
    "a Saturday": datetime(2026, 11, 28, 12, 0, tzinfo=UTC),
    "a Sunday just after midnight": datetime(2027, 2, 28, 0, 5, tzinfo=UTC),
    "29 December": datetime(2026, 12, 29, 9, 0, tzinfo=UTC),
    "the day on which the clocks go back": datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
    "the Friday before the clocks go forward": datetime(2027, 3, 26, 11, 0, tzinfo=UTC),
    "before work": datetime(2026, 12, 1, 5, 0, tzinfo=UTC),
}


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> set[tuple[str, str]]:
    """Drawings are made small here, and which were asked for is remembered."""
    found: set[tuple[str, str]] = set()

    def small(wanted: Iterable[tuple[str, str]]) -> Iterator[bytes]:
        for seed, one in enumerate(wanted):
            found.add(one)
            yield builders.jpeg(f"#{seed * 9:02x}6655", (320, 240))

    monkeypatch.setattr(command, "drawn", small)
    return found


def load() -> planning.Told:
    call_command("demo", stdout=StringIO())
    told = planning.newest()
    assert told
    return told


@pytest.mark.parametrize("now", DAYS.values(), ids=DAYS)
@pytest.mark.usefixtures("asked")
def test_one_job_is_over_two_are_tight_one_is_stuck_and_the_rest_are_in_hand(now: datetime) -> None:
    with time_machine.travel(now, tick=False):
        told = load()
    jobs = {job.pk: job for job in Job.objects.live()}
    words = sorted(planning.word(told.jobs[pk], job.fixed) for pk, job in jobs.items())
    assert words == ["in hand"] * 5 + ["over"] + ["tight"] * 2
    assert [jobs[pk].name for pk, one in told.jobs.items() if one.held] == ["Giant boot"]
    for job in jobs.values():
        assert job.van_day
        assert job.van_day > now.date()
        assert job.van_day.weekday() < 5
        assert not Closure.objects.touching(job.van_day, job.van_day).exists()
    assert not told.problems
    assert not planning.stale()
    assert not Errand.objects.filter(state=ErrandState.FAILED).exists()
    assert not Notice.objects.filter(state=NoticeState.GOING).exists()
    # What was logged has been, and in the order of the stages.
    for piece in Piece.objects.all():
        at = [entry.at for entry in Entry.objects.filter(stage__piece=piece).order_by("stage__position")]
        assert at == sorted(at)
        assert all(one < now for one in at)


def test_a_story_stands_on_every_clients_page(asked: set[tuple[str, str]]) -> None:
    with time_machine.travel(DAYS["a Friday"], tick=False):
        load()
    assert Job.objects.count() == 8
    assert Confirmation.objects.count() == 8
    assert all(one.van_day == one.job.van_day for one in Confirmation.objects.select_related("job"))
    for job in Job.objects.all():
        assert Photo.objects.shown().filter(stage__piece__job=job).exists(), job
        said = Entry.objects.filter(stage__piece__job=job).exclude(says=Says.STUCK)
        assert all(len(entry.sentence.split(". ")) <= 3 and entry.sentence for entry in said)
    assert asked == set(DRAWINGS)
    assert not Photo.objects.exclude(state=PhotoState.DEVELOPED).exists()


@pytest.mark.usefixtures("asked")
def test_letters_have_gone_and_one_waits_for_the_leads_look() -> None:
    with time_machine.travel(DAYS["a Friday"], tick=False):
        load()
    waiting = Photo.objects.filter(released_at=None, for_client=True, entry__stage__piece__job__release=Release.LOOKED)
    assert waiting.count() == 2
    notice = Notice.objects.get(state=NoticeState.OWED)
    assert notice.stage_id in set(waiting.values_list("stage_id", flat=True))
    assert Letter.objects.count() > 10
    assert Notice.objects.exclude(pk=notice.pk).exclude(state=NoticeState.TOLD).count() == 0
    stuck = Stuck.objects.get(answered_at=None)
    assert stuck.entry.sentence.endswith("The drawing shows both.")


@pytest.mark.usefixtures("asked")
def test_the_demo_is_marked_and_never_loaded_over_anything() -> None:
    load()
    assert Studio.objects.get().demo
    assert Plan.objects.exists()
    with pytest.raises(CommandError, match="There are people here already"):
        call_command("demo")
    assert Job.objects.count() == 8


@pytest.mark.usefixtures("asked")
def test_the_next_worked_day_it_is_still_believable() -> None:
    """Who comes back a day later finds what nobody logged a day later, and no more."""
    now = DAYS["a Monday"]
    with time_machine.travel(now, tick=False):
        before = {job: one.hand or 0 for job, one in load().jobs.items()}
    later = now + timedelta(1)
    with time_machine.travel(later, tick=False):
        ask_for_todays_plan(later)
        duties.run(Errand.objects.get(kind=Kind.REFRESH_PLAN, state=ErrandState.WAITING).pk, lambda: later)
    told = planning.newest()
    assert told
    assert all(abs((one.hand or 0) - before[job]) <= 3 for job, one in told.jobs.items())
