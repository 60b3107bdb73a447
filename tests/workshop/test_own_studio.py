"""From the demo to a studio of one's own: all that was invented goes, whoever is in the middle of it."""

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from threading import Barrier, Thread
from typing import Any

import pytest
from django.conf import settings
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.db import connection, connections, transaction
from pytest_django import DjangoCaptureOnCommitCallbacks

from studio.craft.methods import PLACES, WORKS
from studio.workshop import actions, duties, outbox
from studio.workshop.actions import own_studio
from studio.workshop.backup import rows
from studio.workshop.models import (
    Client,
    Errand,
    ErrandState,
    History,
    Job,
    Kind,
    Letter,
    Notice,
    Person,
    Photo,
    Place,
    Plan,
    Rendition,
    Role,
    StageKind,
    Studio,
    Week,
)
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db

PASSWORD = "a lump of wet plaster"
HOURS: Week = [[["09:00", "13:00"], ["14:00", "18:00"]] for _ in range(4)] + [[], [], []]


def start(now: datetime = NOW, **other: Any) -> Person:
    told = {
        "name": "Tallow Lane Works",
        "time_zone": "America/St_Johns",
        "hours": HOURS,
        "lead": "Oda",
        "email": "Oda@TallowLane.example",
        "password": PASSWORD,
    }
    return actions.start_own_studio(**told | other, now=now)


def files() -> set[Path]:
    """Photos and letters on the disk."""
    return {
        path for folder in (settings.MEDIA_ROOT, settings.OUTBOX) for path in Path(folder).rglob("*") if path.is_file()
    }


def demo() -> None:
    """A row at least in every table but those that an own studio fills, too; and somebody signed in."""
    doors.things()
    builders.person("Ada").skills.set(StageKind.objects.all()[:2])
    builders.stage(Job.objects.get(), "lay-up").follows.add(builders.stage(Job.objects.get()))
    builders.work()
    Studio.objects.update(name="Bodkin Yard", demo=True)
    session = SessionStore()
    session["anything"] = 1
    session.create()


@pytest.fixture
def in_demo(published: list[str]) -> None:
    demo()


def counted() -> dict[str, int]:
    return {model.__name__: rows.count(model, "default") for model in rows.kept_models()}


def has_begun(person: Person) -> None:
    """Nothing is there but what a new studio has."""
    left = {name: count for name, count in counted().items() if count}
    assert left == {
        "Studio": 1,
        "Place": len(PLACES),
        "StageKind": len(WORKS),
        "Person": 1,
        "History": 2,
        "Errand": 1,  # the plan, drawn of an empty studio
    }
    assert Person.objects.get() == person
    assert Errand.objects.get().kind == Kind.REFRESH_PLAN
    assert {row.by for row in History.objects.all()} == {None, person}


@pytest.mark.usefixtures("in_demo")
def test_all_of_the_demo_goes_and_a_studio_of_ones_own_begins(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    before = counted()
    assert not [name for name, count in before.items() if not count]  # else this would not see what stays
    old = set(Person.objects.values_list("pk", flat=True))
    assert len(files()) >= 5
    assert Session.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        oda = start()
        assert len(files()) >= 5  # they go when it is kept, and not before
    has_begun(oda)
    assert files() == set()
    assert not Session.objects.exists()
    assert (oda.name, oda.email, oda.role, oda.is_superuser) == ("Oda", "oda@tallowlane.example", Role.LEAD, False)
    assert oda.check_password(PASSWORD)
    assert oda.pk not in old  # whatever a cookie or a link of the demo names is not somebody of the new studio
    studio = Studio.objects.get()
    assert (studio.name, studio.time_zone, studio.hours, studio.demo) == (
        "Tallow Lane Works", "America/St_Johns", HOURS, False,
    )  # fmt: skip
    builders.work()
    assert Plan.objects.get().answer["jobs"] == {}


@pytest.mark.parametrize("demo", [False, True])
def test_only_the_demo_is_ever_emptied(published: list[str], demo: bool) -> None:
    doors.things()
    before, kept = counted(), files()
    if not demo:
        with pytest.raises(actions.Refused, match="the demo is gone and nothing of yours was done"):
            start()
        assert (counted(), files()) == (before, kept)
    else:
        Studio.objects.update(demo=True)
        start()
        assert counted() != before


@pytest.mark.usefixtures("in_demo")
@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [({"time_zone": "Nowhere"}, "is no time zone"), ({"hours": [[]] * 7}, "at least one day with hours")],
)
def test_what_cannot_be_a_studio_empties_nothing(wrong: dict[str, Any], sentence: str) -> None:
    before = counted()
    with pytest.raises(actions.Refused, match=sentence):
        start(**wrong)
    assert counted() == before


@pytest.mark.usefixtures("in_demo")
def test_what_breaks_on_the_way_leaves_the_demo_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    before, kept = counted(), files()

    def breaks(*arguments: Any, **options: Any) -> None:
        raise OSError("the disk broke")

    monkeypatch.setattr(own_studio, "add_person", breaks)
    with pytest.raises(OSError, match="the disk broke"), transaction.atomic():
        start()
    assert (counted(), files(), Studio.objects.get().demo) == (before, kept, True)


@pytest.mark.usefixtures("in_demo")
def test_files_that_a_crash_left_behind_go_with_the_tidying_up(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    with django_capture_on_commit_callbacks(execute=False):  # the machine stops right after it was kept
        start()
    half = Path(settings.OUTBOX) / "half.writing"
    half.touch()
    left = files()
    assert {path.suffix for path in left} == {"", ".eml", ".writing"}
    # Meanwhile the studio works: its own photo and letter stay, and a letter of which nobody knows whether it left.
    builders.link(builders.job())
    builders.log_done(builders.stage(Job.objects.get()), now=NOW)
    builders.work(NOW + timedelta(hours=1))
    on_its_way = Errand.objects.create(
        kind=Kind.SEND_LETTER, key="a", subject="0", state=ErrandState.UNKNOWN, asked_at=NOW, due_at=NOW
    )
    outbox.path(on_its_way.pk).touch()
    kept = {*files()} - left
    assert len(kept) >= 4
    for path in files():
        os.utime(path, (NOW.timestamp(), NOW.timestamp()))
    tidy(NOW + timedelta(hours=23))
    assert files() == left | kept
    tidy(NOW + timedelta(hours=25))
    assert files() == kept


def tidy(now: datetime) -> None:
    errand = Errand.objects.create(kind=Kind.TIDY_FILES, key=f"tidy {now}", subject="daily", asked_at=now, due_at=now)
    duties.run(errand.pk, lambda: now)
    assert Errand.objects.get(pk=errand.pk).state == ErrandState.DONE


@pytest.mark.usefixtures("in_demo")
def test_a_file_that_cannot_be_removed_stops_nobody(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, missing_ok: bool = False) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "unlink", refuse)
    with django_capture_on_commit_callbacks(execute=True):
        has_begun(start())


# in the middle of an errand


def asked(kind: Kind) -> Errand:
    """One errand of the demo that can be done now."""
    if kind == Kind.DEVELOP_PHOTO:
        builders.log_done(
            builders.stage(Job.objects.get(), "lay-up"), by=builders.person("Ada"), content=builders.jpeg("navy")
        )
    elif kind == Kind.SEND_LETTER:
        Notice.objects.filter(state="going").update(leaves_at=NOW)
    elif kind == Kind.REFRESH_PLAN:
        Plan.objects.all().delete()
        actions.add_place(name="Yard", capacity=1, by=builders.lead(), now=NOW)
    Errand.objects.filter(kind=kind).update(due_at=NOW)
    found = Errand.objects.filter(kind=kind, state=ErrandState.WAITING).first()
    assert found
    return found


@pytest.fixture
def stuck_told(published: list[str]) -> None:
    """A demo in which letters of both kinds wait."""
    doors.things()
    Studio.objects.update(demo=True)


@pytest.mark.usefixtures("stuck_told")
@pytest.mark.parametrize("kind", [Kind.DEVELOP_PHOTO, Kind.SEND_LETTER, Kind.TELL_LEAD, Kind.REFRESH_PLAN])
@pytest.mark.parametrize("when", ["before the work", "after the work"])
def test_a_worker_in_the_middle_of_the_demo_writes_nothing_back_and_says_nothing_loud(
    kind: Kind, when: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    errand, duty, begun = asked(kind), duties.DUTIES[kind], []

    def work(claimed: Errand, now: datetime) -> Any:
        if when == "before the work":
            begun.append(start())
        result = duty.work(claimed, now)
        if when == "after the work":
            begun.append(start())
        return result

    monkeypatch.setitem(duties.DUTIES, kind, duties.Duty(work, duty.keep))
    duties.run(errand.pk, lambda: NOW)
    has_begun(begun[0])
    assert [record for record in caplog.records if record.levelname in ("WARNING", "ERROR")] == []


@pytest.mark.usefixtures("in_demo")
def test_a_nudge_for_an_errand_of_the_demo_finds_nothing_to_do(caplog: pytest.LogCaptureFixture) -> None:
    gone = list(Errand.objects.values_list("pk", flat=True))
    oda = start()
    for key in gone:
        duties.run(key, lambda: NOW)
    has_begun(oda)
    assert [record for record in caplog.records if record.levelname in ("WARNING", "ERROR")] == []


# at the same moment


def together(*acts: Callable[[], object]) -> list[object]:
    """Each in a thread, all at once; gives what came of each, sentences of refusal included."""
    barrier = Barrier(len(acts))
    found: list[object] = [None] * len(acts)

    def run(place: int, act: Callable[[], object]) -> None:
        try:
            barrier.wait(timeout=10)
            found[place] = act()
        except Exception as error:
            found[place] = error
        finally:
            connections.close_all()

    threads = [Thread(target=run, args=each) for each in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return found


@pytest.mark.django_db(transaction=True)
def test_of_two_at_the_same_moment_one_begins_and_the_other_reads_why_not(published: list[str]) -> None:
    demo()
    found = together(lambda: start(lead="Oda"), lambda: start(lead="Ivo"))
    begun = [one for one in found if isinstance(one, Person)]
    refused = [one for one in found if isinstance(one, actions.Refused)]
    assert (len(begun), len(refused)) == (1, 1), found
    assert str(refused[0]) == own_studio.NO_DEMO
    has_begun(begun[0])


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", range(4))
def test_what_is_being_written_in_that_moment_does_not_stay(published: list[str], turn: int) -> None:
    """A maker logs, a lead adds a client: kept before and gone, or turned away; never left over."""
    demo()
    ada, ines, stage = builders.person("Ada"), builders.lead(), builders.stage(Job.objects.get(), "lay-up")
    began, _, _ = together(
        start,
        lambda: builders.log_done(stage, by=ada, content=builders.jpeg("navy")),
        lambda: actions.add_client(name="Harbour Museum", by=ines, now=NOW),
    )
    if isinstance(began, actions.Refused):  # on PostgreSQL, where two wait for each other, one is turned away
        assert (str(began), connection.vendor) == (own_studio.BUSY, "postgresql")
        began = start()
    assert isinstance(began, Person), began
    has_begun(began)
    for model in (Client, Photo, Rendition, Letter):
        assert not model._base_manager.exists()


def test_a_new_studio_is_in_the_zone_that_the_environment_names(settings: Any) -> None:
    settings.TIME_ZONE = "America/St_Johns"
    assert actions.set_out_studio().time_zone == "America/St_Johns"
    assert Place.objects.exists()
