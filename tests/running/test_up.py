"""`manage.py up` as a whole, with real servers and workers, on both brokers."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.request import urlopen

import pytest

from fixtures import demo
from tests.conftest import need_service
from tests.running.test_supervisor import runs, wait_for
from tests.workshop.processes import said, start_in

pytestmark = [pytest.mark.services, pytest.mark.once]
ROOT = Path(__file__).resolve().parent.parent.parent
BROKERS = ["redis", "folder"]


class Up:
    """One run in a data folder with a space in its name."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.data = folder / "data of a test"
        self.ready_file = folder / "ready.json"
        self.log = folder / "log"
        environment = {name: value for name, value in os.environ.items() if not name.startswith("STUDIO_")}
        command = [sys.executable, str(ROOT / "manage.py"), "up", "--port", "0", "--data", str(self.data)]
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [*command, "--ready-file", str(self.ready_file), *options],
                cwd=folder,  # from anywhere
                env=environment,
                stdout=log,
                stderr=log,
            )

    def wait(self) -> dict[str, str]:
        assert wait_for(lambda: self.ready_file.exists() or self.process.poll() is not None, 60)
        assert self.ready_file.exists(), self.log.read_text()
        return {str(key): str(value) for key, value in json.loads(self.ready_file.read_text()).items()}

    def family(self) -> set[int]:
        """The children, their children and so on."""
        parents = {}
        for stat in Path("/proc").glob("[0-9]*/stat"):
            try:
                parents[int(stat.parent.name)] = int(stat.read_text().rpartition(")")[2].split()[1])
            except OSError:
                continue
        found = {self.process.pid}
        while more := {pid for pid, parent in parents.items() if parent in found} - found:
            found |= more
        return found - {self.process.pid}

    def pid_of(self, words: str) -> int:
        """The first child that has these words in its command line."""
        for pid in sorted(self.family()):
            if words in Path(f"/proc/{pid}/cmdline").read_text().replace("\0", " "):
                return pid
        raise AssertionError(f"none runs {words}")


@contextmanager
def up(folder: Path, *options: str) -> Iterator[Up]:
    run = Up(folder, *options)
    try:
        yield run
    finally:
        family = run.family()
        run.process.kill()
        run.process.wait()
        assert wait_for(lambda: not any(map(runs, family)), 5)


def options(broker: str) -> tuple[str, str]:
    if broker == "redis":
        need_service("redis-server")
    return ("--broker", broker)


@pytest.mark.parametrize("broker", BROKERS)
def test_it_starts_answers_refuses_a_second_one_and_stops(tmp_path: Path, broker: str) -> None:
    with up(tmp_path, *options(broker)) as run:
        ready = run.wait()
        assert set(ready) == {"url", "lead", "maker", "client", "data"}
        assert ready["data"] == str(run.data)
        assert run.ready_file.stat().st_mode & 0o777 == 0o600
        for name in ("url", "lead", "maker", "client"):
            with urlopen(ready[name], timeout=10) as answer:
                assert answer.status == 200
        letters = [path.read_text() for path in (run.data / "outbox").glob("*.eml")]
        assert any(f"{ready['url']}/with/" in letter for letter in letters)
        # To a client it leads to their page, to a lead to what is stuck.
        assert all(f"{ready['url']}/with/" in letter or f"{ready['url']}/office/stuck/" in letter for letter in letters)

        second = Up(tmp_path, "--ready-file", str(tmp_path / "second.json"))
        assert second.process.wait(timeout=30) == 1
        assert f"\nThe studio runs already on {run.data}. Stop it where it runs" in run.log.read_text()
        assert "Traceback" not in run.log.read_text()

        family = run.family()
        run.process.send_signal(signal.SIGINT)
        assert run.process.wait(timeout=30) == 0
        assert not any(map(runs, family))
        assert not run.ready_file.exists()


@pytest.mark.parametrize("broker", BROKERS)
def test_each_kind_of_process_comes_back_after_kill_9(tmp_path: Path, broker: str) -> None:
    with up(tmp_path, *options(broker)) as run:
        url = run.wait()["url"]
        kinds = ["-A studio worker", "studio.running.beat", "studio.running.web"]
        kinds += ["unixsocket"] if broker == "redis" else []
        before = {words: run.pid_of(words) for words in kinds}
        for pid in before.values():
            os.kill(pid, signal.SIGKILL)
        time.sleep(0.1)

        def back() -> bool:
            try:
                return all(run.pid_of(words) != pid for words, pid in before.items())
            except (AssertionError, OSError):
                return False

        assert wait_for(back, 20), run.log.read_text()

        def answers() -> bool:
            try:
                with urlopen(url, timeout=5) as answer:
                    return bool(answer.status == 200)
            except OSError:
                return False

        assert wait_for(answers, 20)


def test_it_can_start_again_at_once_after_it_was_killed(tmp_path: Path) -> None:
    with up(tmp_path, *options("folder")) as run:
        run.wait()
        family = run.family()
        run.process.kill()
        run.process.wait()
        with up(tmp_path, *options("folder")) as again:
            run.ready_file.unlink()  # left by the one that was killed
            again.wait()
            assert not any(map(runs, family))


def test_an_open_host_needs_a_lead_with_a_password(tmp_path: Path) -> None:
    with up(tmp_path, "--host", "0.0.0.0", *options("folder")) as run:
        assert run.process.wait(timeout=60) == 1
        assert "a lead needs a password" in run.log.read_text()
        assert "Traceback" not in run.log.read_text()


@pytest.mark.parametrize(
    ("extra", "sentence"),
    [
        (["--data", "/dev/null/studio"], "STUDIO_DATA: "),
        (["--port", "many"], "many is no port"),
        (["--ready-file", "/dev/null/ready"], "cannot be written"),
    ],
)
def test_a_wrong_wish_is_a_sentence(tmp_path: Path, extra: list[str], sentence: str) -> None:
    with up(tmp_path, *options("folder"), *extra) as run:
        assert run.process.wait(timeout=60) not in {0, None}
        assert sentence in run.log.read_text()
        assert "Traceback" not in run.log.read_text()


def test_a_port_that_is_taken_is_a_sentence(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = str(other.getsockname()[1])
        with up(tmp_path, *options("folder"), "--port", port) as run:
            assert run.process.wait(timeout=60) == 1
            assert run.log.read_text().startswith(f"Port {port} is in use. Choose another, for example: --port ")
            assert run.log.read_text().count("\n") == 1


def test_a_start_that_was_cut_off_half_way_through_the_demo_loads_all_of_it_next_time(tmp_path: Path) -> None:
    script = (
        "from studio.workshop.models import Job, Link, Person; print(*[m.objects.count() for m in (Person, Job, Link)])"
    )
    with up(tmp_path, *options("folder")) as run:
        # Its photos are on the disk as soon as they are drawn, long before the last job is loaded.
        assert wait_for(lambda: any((run.data / "media" / "originals").glob("??/*")), 60)
        run.process.kill()
        run.process.wait()
    assert said(start_in(script, data=run.data)) == "0 0 0"
    with up(tmp_path, *options("folder")) as run:
        run.wait()
    people, jobs, links = map(int, said(start_in(script, data=run.data)).split())
    assert (people, jobs, links) == (len(demo.PEOPLE), len(demo.JOBS), len(demo.JOBS))


def test_a_studio_of_ones_own_gets_neither_the_demo_nor_links_that_open_straight_in(tmp_path: Path) -> None:
    script = """
from django.core.management import call_command
from django.utils import timezone
from studio.workshop import actions
from studio.workshop.models import Studio
call_command("migrate", verbosity=0)
actions.set_out_studio()
Studio.objects.update(demo=True)
about = {"name": "Tallow Lane", "time_zone": "Europe/Dublin", "hours": Studio().hours, "lead": "Oda"}
actions.start_own_studio(**about, email="oda@tallowlane.example", password="a lump of wet plaster", now=timezone.now())
"""
    assert said(start_in(script, data=tmp_path / "data of a test")) == ""
    with up(tmp_path, *options("folder")) as run:
        ready = run.wait()
        assert (ready["lead"], ready["maker"], ready["client"]) == ("", "", "")
        assert wait_for(lambda: "Ctrl-C stops it." in run.log.read_text(), 5)
        log = run.log.read_text()
        assert f"The studio runs at {ready['url']}\n  data    {run.data}\n" in log
        with urlopen(ready["url"], timeout=10) as answer:
            page = answer.read().decode()
        assert "Tallow Lane" in page
        assert "demo studio" not in page
