"""What keeps `up` from starting is one sentence that says what to do."""

import errno
from collections import namedtuple
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder

from studio.env import BadSetting
from studio.running import run
from studio.running.supervisor import GiveUp
from studio.workshop import actions
from studio.workshop.management.commands import up
from studio.workshop.models import Person
from studio.workshop.photos import DiskFull

Room = namedtuple("Room", "total used free")
LOCKED = OSError(errno.EACCES, "Permission denied", "/srv/studio/broker")
FULL = OSError(errno.ENOSPC, "No space left on device", "/srv/studio/media")


def refused(monkeypatch: pytest.MonkeyPatch, error: BaseException, free: int = 10**9) -> str:
    """What it says where a run ends with this."""

    def breaks(*arguments: Any) -> None:
        raise error

    monkeypatch.setattr(run, "run", breaks)
    monkeypatch.setattr("shutil.disk_usage", lambda path: Room(10**10, 10**10 - free, free))
    monkeypatch.setenv("STUDIO_OPENER_NONCE", "")
    with pytest.raises(SystemExit) as problem:
        call_command("up")
    assert isinstance(problem.value.code, str)  # to stderr, and the exit code is 1
    assert "\n" not in problem.value.code
    return problem.value.code


def full_disk(cause: OSError) -> DiskFull:
    try:
        raise DiskFull from cause
    except DiskFull as error:
        return error


@pytest.mark.parametrize(
    ("error", "free"),
    [
        (FULL, 10**9),  # a quota, or another disk
        (OSError(errno.EDQUOT, "Disk quota exceeded"), 10**9),
        (full_disk(FULL), 10**9),
        (OperationalError("database or disk is full"), 0),
        (OperationalError("disk I/O error"), 0),  # what SQLite says where there is not even room for its own list
        (actions.Refused("One of these photos is not there any more."), 0),
    ],
)
def test_a_full_disk_is_called_so(monkeypatch: pytest.MonkeyPatch, error: Exception, free: int) -> None:
    said = refused(monkeypatch, error, free)
    assert (
        said == f"The disk of {settings.DATA} is full. Make room and start again, or choose another folder with --data."
    )


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (GiveUp("Port 8000 is in use."), "Port 8000 is in use."),
        (LOCKED, "/srv/studio/broker cannot be used (Permission denied). Put that right and start again."),
        (OperationalError("file is not a database"), "It said: file is not a database"),
        (OperationalError("connection refused\n\tIs it running?"), "It said: connection refused Is it running?"),
    ],
)
def test_whatever_else_goes_wrong_is_a_sentence(
    monkeypatch: pytest.MonkeyPatch, error: Exception, sentence: str
) -> None:
    said = refused(monkeypatch, error)
    assert said.endswith(sentence)
    other = "Look at STUDIO_DATABASE_URL." if connection.vendor == "postgresql" else "Try another folder with --data."
    assert (f"The database cannot be used. {other}" in said) == isinstance(error, OperationalError)


@pytest.mark.django_db
def test_a_record_of_a_newer_version_is_left_alone(published: list[str]) -> None:
    MigrationRecorder(connection).record_applied("workshop", "0002_from_tomorrow")
    with pytest.raises(
        GiveUp, match=r"A newer version .* \(0002_from_tomorrow is not known to this one\)\. Start that"
    ):
        up._prepare(False)
    assert not Person.objects.exists()


@pytest.mark.django_db
def test_a_demo_that_breaks_leaves_nothing(published: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*arguments: Any, **options: Any) -> None:
        raise FULL

    monkeypatch.setattr("studio.workshop.management.commands.demo._send_away", breaks)
    monkeypatch.setattr("studio.workshop.management.commands.demo.demo.JOBS", ())
    with pytest.raises(SystemExit, match=r"^The disk of .* is full\. Make room and start again"):
        call_command("demo")
    assert not Person.objects.exists()
    assert Path(settings.DATA).is_dir()


def test_https_without_a_proxy_starts_nothing(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    monkeypatch.setenv("STUDIO_OPENER_NONCE", "")
    monkeypatch.setattr(run, "run", pytest.fail)
    settings.SECURE, settings.PROXY = True, ""
    with pytest.raises(BadSetting, match=r"^STUDIO_PROXY: write"):
        call_command("up")
