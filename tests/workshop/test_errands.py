"""The errand row: asked for, claimed once, fenced, freed, failed and tried again."""

import errno
import logging
import os
import socket
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import transaction
from kombu.exceptions import OperationalError

from studio.workshop import duties, errands
from studio.workshop.models import Errand, ErrandState, Kind, StageKind

pytestmark = pytest.mark.django_db

Commits = Callable[..., AbstractContextManager[object]]
SECOND = timedelta(seconds=1)


@pytest.fixture(autouse=True)
def nobody_nudges(published: list[str]) -> None:
    """No test here needs a broker."""


def asked(now: datetime, subject: str = "1", kind: Kind = Kind.DEVELOP_PHOTO, after_s: int = 0) -> Errand:
    errands.ask(kind, subject, due_at=now + after_s * SECOND, now=now)
    return Errand.objects.get(key=f"{kind}:{subject}", state=ErrandState.WAITING)


def claimed(now: datetime, subject: str = "1") -> Errand:
    errand = errands.claim(asked(now, subject).pk, now)
    assert errand is not None
    return errand


def now_of(errand: Errand) -> Errand:
    return Errand.objects.get(pk=errand.pk)


# asking


def test_asking_twice_while_it_waits_moves_its_hour_and_makes_no_second_row(now: datetime) -> None:
    first = asked(now, after_s=600)
    again = asked(now + SECOND, after_s=300)
    assert again.pk == first.pk
    assert again.due_at == now + 301 * SECOND
    assert Errand.objects.count() == 1


def test_what_is_asked_while_it_runs_runs_once_more(now: datetime) -> None:
    errand = claimed(now)
    for _ in range(3):
        errands.ask(Kind.DEVELOP_PHOTO, "1", due_at=now, now=now)
    assert Errand.objects.count() == 1
    errands.finish(errand, now + SECOND)
    waiting = now_of(errand)
    assert (waiting.state, waiting.due_at) == (ErrandState.WAITING, now)  # at the hour that was asked for
    second = errands.claim(errand.pk, now + SECOND)
    assert second is not None
    errands.finish(second, now + 2 * SECOND)
    assert now_of(errand).state == ErrandState.DONE


def test_asking_after_it_is_done_is_a_new_errand(now: datetime) -> None:
    first = claimed(now)
    errands.finish(first, now)
    assert asked(now).pk != first.pk


def test_only_what_is_due_is_nudged(
    now: datetime, published: list[str], django_capture_on_commit_callbacks: Commits
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        due, later = asked(now), asked(now, "2", after_s=600)
    assert published == [str(due.pk)]
    assert later.nudged_at is None


# claiming


def test_a_nudge_that_comes_twice_claims_once(now: datetime) -> None:
    errand = asked(now)
    assert errands.claim(errand.pk, now) is not None
    assert errands.claim(errand.pk, now) is None
    assert now_of(errand).attempts == 1


def test_a_nudge_that_comes_too_early_or_too_late_claims_nothing(now: datetime) -> None:
    errand = asked(now, after_s=60)
    assert errands.claim(errand.pk, now + 59 * SECOND) is None
    done = errands.claim(errand.pk, now + 60 * SECOND)
    assert done is not None
    errands.finish(done, now + 61 * SECOND)
    assert errands.claim(errand.pk, now + 62 * SECOND) is None


def test_a_lease_is_the_hard_limit_and_a_quarter_of_a_minute(now: datetime) -> None:
    assert claimed(now).lease_until == now + 45 * SECOND


# the fence


def test_a_lost_lease_undoes_what_its_claimant_wrote(now: datetime) -> None:
    slow = claimed(now)
    later = now + timedelta(minutes=2)
    assert errands.free_dead(later) == 1
    quick = errands.claim(slow.pk, later)
    assert quick is not None

    @transaction.atomic
    def keep_result() -> None:
        StageKind.objects.create(name="written by the slow one")
        errands.finish(slow, later)

    with pytest.raises(errands.Fenced):
        keep_result()
    assert not StageKind.objects.exists()
    errands.finish(quick, later)
    assert now_of(quick).state == ErrandState.DONE


def test_an_errand_done_by_another_meanwhile_drops_the_result_of_a_duty(
    now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(errand: Errand, at: datetime) -> None:
        errands.free_dead(now + timedelta(minutes=2))
        other = errands.claim(errand.pk, now)
        assert other is not None
        errands.finish(other, now)

    def keep(errand: Errand, result: None, at: datetime) -> None:
        StageKind.objects.create(name="too late")

    monkeypatch.setitem(duties.DUTIES, Kind.DEVELOP_PHOTO, duties.Duty(work, keep))
    errand = asked(now)
    duties.run(errand.pk, lambda: now)
    assert not StageKind.objects.exists()
    assert (now_of(errand).state, now_of(errand).attempts) == (ErrandState.DONE, 2)


def test_a_lost_claimant_can_neither_give_back_nor_give_up(now: datetime) -> None:
    slow = claimed(now)
    errands.free_dead(now + timedelta(minutes=2))
    errands.give_back(slow, "Too late to say so.", now)
    errands.give_up(slow, "Too late to say so.")
    assert (now_of(slow).state, now_of(slow).error) == (ErrandState.WAITING, "")


# leases and claimants


def test_a_live_claimant_keeps_its_errand_until_the_lease_ends(now: datetime) -> None:
    errand = claimed(now)
    assert errands.free_dead(now + 45 * SECOND) == 0
    assert now_of(errand).state == ErrandState.RUNNING
    assert errands.free_dead(now + 46 * SECOND) == 1
    assert (now_of(errand).state, now_of(errand).strikes) == (ErrandState.WAITING, 1)


def test_a_claimant_on_another_machine_is_trusted_until_its_lease_ends(now: datetime) -> None:
    errand = claimed(now)
    Errand.objects.filter(pk=errand.pk).update(claimant="another-machine:1:1")
    assert errands.free_dead(now + 45 * SECOND) == 0
    assert errands.free_dead(now + 46 * SECOND) == 1


def test_a_process_that_got_the_number_of_a_dead_one_is_not_taken_for_it(now: datetime) -> None:
    errand = claimed(now)
    Errand.objects.filter(pk=errand.pk).update(claimant=f"{socket.gethostname()}:{os.getpid()}:1")
    assert errands.free_dead(now) == 1


def test_a_nudge_finds_the_errand_of_a_dead_claimant_free(now: datetime) -> None:
    errand = claimed(now)
    Errand.objects.filter(pk=errand.pk).update(claimant=f"{socket.gethostname()}:{os.getpid()}:1")
    assert errands.claim(errand.pk, now) is not None


def test_who_works_past_the_hard_limit_is_named(now: datetime) -> None:
    claimed(now)
    Errand.objects.filter(pk=claimed(now, "2").pk).update(claimant="another-machine:1:1")
    assert errands.overdue_pids(now + 30 * SECOND) == []
    assert errands.overdue_pids(now + 31 * SECOND) == [os.getpid()]


# what comes to nothing


def test_it_is_tried_again_later_and_later_and_then_it_has_failed(now: datetime) -> None:
    errand, at, waits = asked(now), now, []
    for _ in range(8):
        attempt = errands.claim(errand.pk, at)
        assert attempt is not None
        failed = errands.give_back(attempt, "The disk said: no.", at)
        waits.append((now_of(errand).due_at - at).seconds)
        at = now_of(errand).due_at
    assert failed
    assert waits == [2, 4, 8, 16, 32, 64, 128, 0]
    assert (now_of(errand).state, now_of(errand).error) == (ErrandState.FAILED, "The disk said: no.")
    assert errands.claim(errand.pk, at + timedelta(days=1)) is None
    assert errands.sweep(at + timedelta(days=1)) == 0


def test_what_kills_its_worker_each_time_fails_instead_of_killing_for_ever(now: datetime) -> None:
    errand, at = asked(now), now
    for _ in range(8):
        assert errands.claim(errand.pk, at) is not None
        at += timedelta(minutes=2)
        assert errands.free_dead(at) == 1
    assert now_of(errand).state == ErrandState.FAILED
    assert now_of(errand).error == "It was cut off each time it was tried."


def test_trying_again_starts_afresh_and_only_once(
    now: datetime, published: list[str], django_capture_on_commit_callbacks: Commits
) -> None:
    errand = claimed(now)
    errands.give_up(errand, "Nothing to be done.")
    assert now_of(errand).state == ErrandState.FAILED
    published.clear()
    with django_capture_on_commit_callbacks(execute=True):
        assert errands.try_again(errand.pk, now)
        assert not errands.try_again(errand.pk, now)
    assert published == [str(errand.pk)]
    assert (now_of(errand).state, now_of(errand).strikes, now_of(errand).error) == (ErrandState.WAITING, 0, "")


def test_asking_for_what_has_failed_starts_afresh(now: datetime) -> None:
    errand = claimed(now)
    errands.give_up(errand, "Nothing to be done.")
    assert asked(now + SECOND).pk == errand.pk


def test_taking_back_what_waits_ends_it_and_what_runs_goes_on(now: datetime) -> None:
    asked(now, "waits", after_s=600)
    claimed(now, "runs")
    assert errands.drop(Kind.DEVELOP_PHOTO, "waits", now=now)
    assert not errands.drop(Kind.DEVELOP_PHOTO, "runs", now=now)
    assert not errands.drop(Kind.DEVELOP_PHOTO, "never asked", now=now)


# nudges that get lost


def test_the_sweep_nudges_what_was_missed_once_in_twenty_seconds(
    now: datetime, published: list[str], django_capture_on_commit_callbacks: Commits
) -> None:
    errand = asked(now)
    asked(now, "later", after_s=3600)
    claimed(now, "runs")
    published.clear()
    with django_capture_on_commit_callbacks(execute=True):
        swept = [errands.sweep(now + seconds * SECOND) for seconds in (1, 20, 21, 22, 41, 42)]
    assert swept == [0, 0, 1, 0, 0, 1]
    assert published == [str(errand.pk)] * 2


def test_a_broker_that_takes_no_nudge_loses_nothing(
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    django_capture_on_commit_callbacks: Commits,
) -> None:
    def refuse(*arguments: object, **options: object) -> None:
        raise OperationalError("nobody there")

    from studio.celery import app

    with monkeypatch.context() as broken, caplog.at_level(logging.WARNING):
        broken.setattr(app, "send_task", refuse)
        with django_capture_on_commit_callbacks(execute=True):
            errand = asked(now)
    assert f"errand {errand.pk} waits" in caplog.text
    assert now_of(errand).state == ErrandState.WAITING
    assert errands.sweep(now + 21 * SECOND) == 1


def test_an_errand_of_a_rolled_back_action_is_neither_there_nor_nudged(now: datetime, published: list[str]) -> None:
    @transaction.atomic
    def act() -> None:
        asked(now)
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        act()
    assert not Errand.objects.exists()
    assert published == []


@pytest.mark.parametrize(("number", "full"), [(errno.ENOSPC, True), (errno.EDQUOT, True), (errno.EIO, False)])
def test_a_full_disk_is_one_line_of_the_log_and_needs_no_traceback(
    now: datetime, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, number: int, full: bool
) -> None:
    def breaks(errand: Errand, at: datetime) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setitem(duties.DUTIES, Kind.DEVELOP_PHOTO, duties.Duty(breaks, lambda *kept: None))
    errand = asked(now)
    duties.run(errand.pk, lambda: now)
    (line,) = [record for record in caplog.records if record.levelno >= logging.WARNING]
    assert ("the disk is full. Make room" in line.getMessage()) == full
    assert (line.exc_info is None) == full
    assert (now_of(errand).state, now_of(errand).error) == (
        ErrandState.WAITING, f"The disk said: {os.strerror(number)}.",
    )  # fmt: skip


# workers that have gone deaf


@pytest.mark.parametrize(
    ("due_s_ago", "moved_s_ago", "deaf"),
    [(61, None, True), (59, None, False), (61, 59, False), (61, 61, True)],
)
def test_deaf_is_an_errand_due_for_a_minute_in_which_nothing_moved(
    now: datetime, due_s_ago: int, moved_s_ago: int | None, deaf: bool
) -> None:
    asked(now - due_s_ago * SECOND)
    if moved_s_ago is not None:
        claimed(now - moved_s_ago * SECOND, "other")
    assert errands.deaf(now) is deaf


def test_a_queue_is_deaf_by_itself(now: datetime) -> None:
    """Whoever takes letters does not hear for whoever takes photos."""
    asked(now - 90 * SECOND)
    errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now, now=now)
    assert errands.claim(Errand.objects.get(kind=Kind.REFRESH_PLAN).pk, now + 2 * SECOND)
    assert [errands.deaf(now, queue) for queue in ("photos", "letters", "")] == [True, False, False]
    said = StringIO()
    with time_machine.travel(now, tick=False):
        call_command("hears", "letters", stdout=said)
        with pytest.raises(CommandError, match=r"^Errands of photos have been due for a minute and none was taken\.$"):
            call_command("hears", "photos")


def test_what_was_finished_within_the_minute_is_no_deafness(now: datetime) -> None:
    asked(now - 90 * SECOND)
    errand = claimed(now - 80 * SECOND, "other")
    errands.finish(errand, now - 30 * SECOND)
    assert not errands.deaf(now)


def test_nothing_due_is_no_deafness(now: datetime) -> None:
    asked(now - 90 * SECOND, after_s=3600)
    assert not errands.deaf(now)


def test_asked_many_times_at_one_instant_it_is_nudged_once(
    now: datetime, published: list[str], django_capture_on_commit_callbacks: object
) -> None:
    """An action that writes forty rows asks forty times for the same plan."""
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
        for _ in range(40):
            errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now, now=now)
    assert published == [str(Errand.objects.get().pk)]
    assert errands.claim(Errand.objects.get().pk, now + 2 * SECOND)
    errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now, now=now)
    assert Errand.objects.get().again  # while it runs, it is asked for once more, at the same instant too


def test_a_plan_gathers_what_is_asked_within_two_seconds_and_then_begins(
    now: datetime, published: list[str], django_capture_on_commit_callbacks: Commits
) -> None:
    """Its hour is not put off by more askings, so that it begins however often something changes."""
    for second in range(2):
        with django_capture_on_commit_callbacks(execute=True):
            errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now + second * SECOND, now=now + second * SECOND)
    errand = Errand.objects.get()
    assert (errand.due_at, len(published)) == (now + 2 * SECOND, 1)
    assert errands.claim(errand.pk, now + SECOND) is None
    running = errands.claim(errand.pk, now + 2 * SECOND)
    assert running
    with django_capture_on_commit_callbacks(execute=True):
        errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now + 2 * SECOND, now=now + 2 * SECOND)
        errands.finish(running, now + 2 * SECOND)
    errand.refresh_from_db()
    assert (errand.state, errand.due_at) == (ErrandState.WAITING, now + 4 * SECOND)
    assert len(published) == 2  # nudged for its hour, not left to the sweep
