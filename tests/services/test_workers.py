"""Real brokers and real workers: what one process asks for, another does."""

import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from studio.running import broker, programs
from studio.workshop.models import Errand, ErrandState, Kind, Letter, Photo, PhotoState
from studio.workshop.outbox import path as outbox_path
from tests.conftest import need_service
from tests.workshop.processes import said, start

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.services]

LOG_A_STAGE = """
from studio.workshop import actions
from studio.workshop.models import Studio
from tests import builders
actions.set_out_studio()
Studio.objects.update(undo_minutes=0)
job = builders.job()
builders.link(job)
builders.log_done(builders.stage(job), now=timezone.now())
"""
WORK = """
from studio.celery import app
app.worker_main(sys.argv[2:])
"""


@contextmanager
def a_broker(kind: str, folder: Path) -> Iterator[broker.Broker]:
    """As `up` would choose it."""
    if kind == "redis":
        need_service("redis-server")
    place = folder / "broker"
    place.mkdir()
    chosen = broker.choose(kind, given_url="", place=place, runtime=folder)
    server = subprocess.Popen(chosen.server.command, stdout=subprocess.DEVNULL) if chosen.server else None
    try:
        assert chosen.socket is None or broker.answers(chosen.socket, seconds=10)
        yield chosen
    finally:
        if server:
            server.kill()
            server.wait()


@contextmanager
def a_worker(chosen: broker.Broker, folder: Path) -> Iterator["subprocess.Popen[str]"]:
    """With the arguments that `up` gives it, on the test's own database."""
    command = programs.workers(chosen, {})[0].command
    worker = start(WORK, *command[command.index("worker") :], data=folder, broker_url=chosen.url)
    try:
        yield worker
    finally:
        worker.kill()
        worker.communicate()


def comes_true(question: Callable[[], bool], seconds: float = 60) -> bool:
    until = time.monotonic() + seconds
    while not question() and time.monotonic() < until:
        time.sleep(0.1)
    return question()


@pytest.mark.parametrize("kind", ["redis", "folder"])
def test_a_stage_logged_in_one_process_is_developed_and_told_by_another(kind: str, tmp_path: Path) -> None:
    with a_broker(kind, tmp_path) as chosen, a_worker(chosen, tmp_path) as worker:
        said(start(LOG_A_STAGE, data=tmp_path, broker_url=chosen.url))
        assert comes_true(Letter.objects.exists), "no letter was written"
        assert comes_true(lambda: not Errand.objects.exclude(state=ErrandState.DONE).exists())
        assert Photo.objects.get().state == PhotoState.DEVELOPED
        assert outbox_path(Letter.objects.get().pk).exists()
        assert set(Errand.objects.values_list("attempts", flat=True)) == {1}
        worker.send_signal(signal.SIGTERM)
        worker.communicate(timeout=30)
        assert worker.returncode == 0


def test_a_nudge_that_waits_in_the_broker_is_done_by_a_worker_that_starts_later(tmp_path: Path) -> None:
    with a_broker("redis", tmp_path) as chosen:
        said(start(LOG_A_STAGE, data=tmp_path, broker_url=chosen.url))
        assert set(Errand.objects.values_list("kind", "state")) == {
            (Kind.DEVELOP_PHOTO, ErrandState.WAITING),
            (Kind.REFRESH_PLAN, ErrandState.WAITING),
        }
        with a_worker(chosen, tmp_path):
            assert comes_true(Letter.objects.exists), "no letter was written"


def test_the_same_nudge_ten_times_is_one_piece_of_work(tmp_path: Path) -> None:
    again = """
from studio.celery import app
for _ in range(10):
    app.send_task("studio.run_errand", (str(Errand.objects.get(kind="develop_photo").pk),), queue="photos")
"""
    with a_broker("redis", tmp_path) as chosen:
        said(start(LOG_A_STAGE + again, data=tmp_path, broker_url=chosen.url))
        with a_worker(chosen, tmp_path):
            assert comes_true(Letter.objects.exists), "no letter was written"
            assert comes_true(lambda: not Errand.objects.exclude(state=ErrandState.DONE).exists())
            time.sleep(1)  # for the nudges that are left
    assert set(Errand.objects.values_list("attempts", flat=True)) == {1}
    assert len(list((tmp_path / "outbox").glob("*.eml"))) == 1
