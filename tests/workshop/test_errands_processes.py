"""The errand row between real processes: races, kills, and a broker that is not there."""

import base64
import json
import os
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from studio.workshop import errands
from studio.workshop.models import Errand, ErrandState, Kind
from tests.workshop.processes import ROOT, said, start

pytestmark = pytest.mark.django_db(transaction=True)

ASK = """
with transaction.atomic():
    errands.ask(Kind.DEVELOP_PHOTO, "1", due_at=timezone.now(), now=timezone.now())
"""
CLAIM_AND_WAIT = """
errand = errands.claim(Errand.objects.get().pk, timezone.now())
print(errand.claimant, flush=True)
time.sleep(60)
"""


def nudges(data: Path, queue: str = "photos") -> list[str]:
    """The errand ids that wait in the broker folder, out of Celery's own message format (its protocol 2)."""
    found = []
    for path in sorted((data / "broker" / queue).glob("*.msg")):
        message = json.loads(path.read_text())
        assert message["headers"]["task"] == "studio.run_errand"
        arguments, _, _ = json.loads(base64.b64decode(message["body"]))
        found += arguments
    return found


def test_of_two_processes_that_race_one_has_the_errand(published: list[str], tmp_path: Path) -> None:
    now = timezone.now()
    for subject in range(40):
        errands.ask(Kind.DEVELOP_PHOTO, str(subject), due_at=now, now=now)
    script = """
names = Errand.objects.order_by("id").values_list("pk", flat=True)
Path(sys.argv[2], sys.argv[3]).touch()
while len(ready := list(Path(sys.argv[2]).glob("ready-*"))) < 2:
    pass
began = max(path.stat().st_mtime for path in ready) + 0.2
for place, name in enumerate(list(names)):
    while time.time() < began + place * 0.02:  # both reach for the same one in the same instant
        pass
    if errands.claim(name, timezone.now()):
        print(name)
"""
    racers = [start(script, str(tmp_path), f"ready-{name}", data=tmp_path) for name in "ab"]
    first, second = (said(racer).split() for racer in racers)
    assert len(first) + len(second) == 40
    assert set(first).isdisjoint(second)
    assert set(Errand.objects.values_list("attempts", flat=True)) == {1}


def test_the_errand_of_a_killed_process_is_freed_at_once_and_of_a_live_one_is_not(
    published: list[str], tmp_path: Path
) -> None:
    now = timezone.now()
    errands.ask(Kind.SEND_LETTER, "1", due_at=now, now=now)
    worker = start(CLAIM_AND_WAIT, data=tmp_path)
    assert worker.stdout is not None
    try:
        assert worker.stdout.readline().strip() == Errand.objects.get().claimant
        assert errands.free_dead(timezone.now()) == 0
    finally:
        worker.kill()
    # Killed, and not reaped by its parent yet: that too is dead.
    until = time.monotonic() + 5
    while not (freed := errands.free_dead(timezone.now())) and time.monotonic() < until:
        time.sleep(0.02)
    assert freed == 1
    assert worker.wait() == -signal.SIGKILL
    worker.stdout.close()
    errand = Errand.objects.get()
    assert (errand.state, errand.strikes, errand.nudged_at) == (ErrandState.WAITING, 1, None)
    assert errands.sweep(timezone.now()) == 1


def test_a_fresh_process_publishes_to_the_studios_broker(tmp_path: Path) -> None:
    script = f"assert not any(name.startswith('studio.workshop.tasks') for name in sys.modules)\n{ASK}"
    said(start(script, data=tmp_path))
    assert nudges(tmp_path) == [str(Errand.objects.get().pk)]


def test_whatever_a_fresh_process_publishes_is_bound_to_the_studios_celery(tmp_path: Path) -> None:
    script = "import django; django.setup(); from celery import current_app; print(current_app.main)"
    environment = {**os.environ, "STUDIO_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "studio.settings"}
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, env=environment, capture_output=True, check=True)
    assert done.stdout.decode().strip() == "studio"


def test_a_crash_between_commit_and_publish_loses_nothing(published: list[str], tmp_path: Path) -> None:
    script = """
with transaction.atomic():
    transaction.on_commit(lambda: os._exit(9))
    errands.ask(Kind.DEVELOP_PHOTO, "1", due_at=timezone.now(), now=timezone.now())
"""
    worker = start(script, data=tmp_path)
    worker.communicate(timeout=60)
    assert worker.returncode == 9
    assert nudges(tmp_path) == []
    errand = Errand.objects.get()
    assert errand.state == ErrandState.WAITING
    later = timezone.now() + timedelta(seconds=errands.NUDGE_AGAIN_S + 1)
    assert errands.sweep(later) == 1
    assert published == [str(errand.pk)]


def test_a_dead_broker_neither_raises_nor_holds_up_a_request(tmp_path: Path) -> None:
    script = f"began = time.monotonic()\n{ASK}\nprint(time.monotonic() - began)"
    took_s = float(said(start(script, data=tmp_path, broker_url=f"redis+socket://{tmp_path}/nobody.sock")))
    assert took_s < 2
    assert Errand.objects.get().state == ErrandState.WAITING
