"""The commands of docker-compose.yml as plain processes, in place of the containers that nothing here can start."""

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pytest

from studio import settings as written
from tests import compose
from tests.conftest import need_service
from tests.databases import POSTGRESQL, Databases
from tests.services.test_workers import comes_true
from tests.workshop.processes import ROOT, manage, said, start_in

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.services,
    pytest.mark.skipif(written.SQLITE, reason="runs where a PostgreSQL is named"),
]
OURS = ("web", "photos", "letters", "beat")
# Its nudges go into a folder that nobody reads: only the sweep finds the errand, and only the two workers do it.
LOG_A_STAGE = """
from django.utils import timezone
from studio.workshop.models import Studio
from tests import builders
Studio.objects.update(undo_minutes=0)
job = builders.job()
builders.link(job)
builders.log_done(builders.stage(job), now=timezone.now())
"""
LOOK = """
from studio.workshop.models import Errand, Letter, Photo, Studio
print(Letter.objects.count(), *Photo.objects.values_list("state", flat=True), Errand.objects.exclude(state="done").count(), Studio.objects.get().demo)
"""


def free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


class Containers:
    """What Compose does, as far as the file goes: puts the environment in, starts the commands, asks how they are."""

    def __init__(self, folder: Path, database_url: str) -> None:
        self.data = folder / "data"
        self.services = compose.read()["services"]
        self.database_url = database_url
        self.ports = {"redis": free_port(), "web": free_port()}
        # What differs without containers: names of hosts, ports, and places.
        self.elsewhere = {
            "redis:6379": f"127.0.0.1:{self.ports['redis']}",
            "127.0.0.1:8000": f"127.0.0.1:{self.ports['web']}",
            "/tmp": str(folder),
            "/data": str(self.data),
        }
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.log = (folder / "log").open("ab")
        self.said_last = ""

    def word(self, word: str) -> str:
        for sound, here in self.elsewhere.items():
            word = word.replace(sound, here)
        return word.replace("$$", "$")

    def environment(self, name: str) -> dict[str, str]:
        given = {"STUDIO_ADDRESS": "https://yard.example", "POSTGRES_PASSWORD": "plaster"}

        def put_in(match: "re.Match[str]") -> str:
            assert match[2] != "?" or match[1] in given, match[0]
            return given.get(match[1]) or (match[3] if match[2] == "-" else "")

        plain = {key: value for key, value in os.environ.items() if not key.startswith("STUDIO_")}
        here = {"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}", "STUDIO_NO_VENV": "1"}
        stated: Mapping[str, Any] = self.services[name].get("environment", {})
        filled = {key: self.word(compose.FROM_ENVIRONMENT.sub(put_in, str(value))) for key, value in stated.items()}
        ours = {"STUDIO_DATA": str(self.data), "STUDIO_DATABASE_URL": self.database_url} if name != "redis" else {}
        return plain | here | filled | ours

    def start(self, name: str) -> "subprocess.Popen[bytes]":
        command = list(self.services[name]["command"])
        if name == "web":
            command[-2:] = ["127.0.0.1", str(self.ports["web"])]
        if name == "redis":
            need_service("redis-server")
            command += ["--bind", "127.0.0.1", "--port", str(self.ports["redis"]), "--dir", str(self.data.parent)]
        self.running[name] = subprocess.Popen(
            [self.word(word) if name != "redis" else word for word in command],
            cwd=ROOT,
            env=self.environment(name),
            stdout=self.log,
            stderr=self.log,
        )
        return self.running[name]

    def is_well(self, name: str) -> bool:
        kind, *words = self.services[name]["healthcheck"]["test"]
        # Nobody here has the number 1: what asks the first process to end says so instead.
        words = [self.word(word).replace("kill 1", "echo ended") for word in words]
        if name == "redis":
            words = [word.replace("redis-cli", f"redis-cli -p {self.ports['redis']}") for word in words]
        command = words if kind == "CMD" else ["sh", "-c", *words]
        done = subprocess.run(
            command, cwd=ROOT, env=self.environment(name), capture_output=True, text=True, check=False
        )
        self.said_last = done.stdout
        return done.returncode == 0

    def stop(self) -> None:
        for process in self.running.values():
            process.kill()
            process.wait()
        self.log.close()


@contextmanager
def containers(folder: Path, database_url: str) -> Iterator[Containers]:
    made = Containers(folder, database_url)
    try:
        yield made
    finally:
        made.stop()


def test_they_start_are_well_and_do_the_work_and_end(databases: Databases, tmp_path: Path) -> None:
    url = databases.new(POSTGRESQL)
    with containers(tmp_path, url) as all_of_it:
        all_of_it.start("redis")
        assert comes_true(lambda: all_of_it.is_well("redis"))
        for _ in range(2):  # at each start
            assert all_of_it.start("set-up").wait(timeout=120) == 0
        for name in OURS:
            all_of_it.start(name)
        assert comes_true(lambda: all(map(all_of_it.is_well, OURS))), (tmp_path / "log").read_text()

        page = Request(
            f"http://127.0.0.1:{all_of_it.ports['web']}/sign-in/",
            headers={"Host": "yard.example", "X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.7"},
        )
        with urlopen(page, timeout=10) as answer:
            assert answer.status == 200
        invited = manage("invite", "ines@yard.example", data=all_of_it.data, database_url=url)
        assert invited.returncode == 0, invited.stderr

        said(start_in(LOG_A_STAGE, data=all_of_it.data, database_url=url))

        def done() -> bool:
            return said(start_in(LOOK, data=all_of_it.data, database_url=url)) == "1 developed 0 False"

        assert comes_true(done), (tmp_path / "log").read_text()
        assert len(list((all_of_it.data / "outbox").glob("*.eml"))) == 1
        for name in OURS:
            all_of_it.running[name].terminate()
            assert all_of_it.running[name].wait(timeout=30) == 0, name
        assert "Traceback" not in (tmp_path / "log").read_text()


WAITS = """
from datetime import timedelta
from django.utils import timezone
from studio.workshop.models import Errand, Kind
then = timezone.now() - timedelta(seconds=70)
Errand.objects.create(kind=Kind.DEVELOP_PHOTO, key="develop_photo:1", subject="1", asked_at=then, due_at=then)
"""


def test_a_worker_that_takes_nothing_and_a_beat_that_stands_still_are_seen(
    databases: Databases, tmp_path: Path
) -> None:
    url = databases.new(POSTGRESQL)
    with containers(tmp_path, url) as all_of_it:
        assert not all_of_it.is_well("redis")
        assert not all_of_it.is_well("web")
        assert all_of_it.start("set-up").wait(timeout=120) == 0
        assert all_of_it.is_well("photos")
        said(start_in(WAITS, data=all_of_it.data, database_url=url))
        assert not all_of_it.is_well("photos")
        assert all_of_it.said_last == "ended\n"
        assert all_of_it.is_well("letters")
        assert not all_of_it.is_well("beat")
        schedule = tmp_path / "beat"
        schedule.touch()
        assert all_of_it.is_well("beat")
        long_ago = time.time() - 600
        os.utime(schedule, (long_ago, long_ago))
        assert not all_of_it.is_well("beat")
