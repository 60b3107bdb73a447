"""The supervisor, with small programs of our own as children."""

import io
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from studio.running.child import Child, Program
from studio.running.supervisor import GiveUp, Hook, Supervisor

pytestmark = pytest.mark.once
ROOT = Path(__file__).resolve().parent.parent.parent


def python(code: str, *arguments: object) -> tuple[str, ...]:
    return (sys.executable, "-S", "-c", code, *map(str, arguments))


def stop_when(condition: Callable[[], bool], seconds: float = 20) -> Hook:
    """Asks this process to stop, as Ctrl-C would, once the condition holds."""
    until = time.monotonic() + seconds

    def look() -> bool:
        if time.monotonic() > until:
            raise GiveUp("it took too long")
        if condition():
            os.kill(os.getpid(), signal.SIGINT)
            return False
        return True

    return Hook(0.02, look)


def runs(pid: int) -> bool:
    """Whether a process is there and no zombie."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def wait_for(condition: Callable[[], bool], seconds: float = 10) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if condition():
            return True
        time.sleep(0.02)
    return condition()


SLEEPS = "import time; print('here', flush=True); time.sleep(600)"


def test_lines_carry_the_name_of_the_child(tmp_path: Path) -> None:
    says = "import sys, time; sys.stdout.write('one\\ntwo'); sys.stdout.flush(); time.sleep(600)"
    log = io.StringIO()
    with Supervisor(cwd=tmp_path, log=log) as supervisor:
        supervisor.add(Program("web", python(says)))
        supervisor.run([stop_when(lambda: "one" in log.getvalue())])
    assert log.getvalue() == "web      | one\nweb      | two\n"  # the unfinished line too, at the end


def test_a_child_that_ends_starts_again_after_a_growing_wait(tmp_path: Path) -> None:
    log, ends = io.StringIO(), []
    with Supervisor(cwd=tmp_path, log=log, after_end=lambda: ends.append(time.monotonic())) as supervisor:
        supervisor.add(Program("beat", python("import sys; sys.exit(3)")))
        supervisor.run([stop_when(lambda: len(ends) == 3)])
        assert supervisor.restarts("beat") == 2
    assert [line.rpartition("; ")[2] for line in log.getvalue().splitlines()] == [
        "it starts again in 0.5 s",
        "it starts again in 1.0 s",
        "it starts again in 2.0 s",
    ]
    assert "beat ended with 3" in log.getvalue()
    assert ends[1] - ends[0] >= 0.5
    assert ends[2] - ends[1] >= 1.0


def test_the_wait_doubles_up_to_ten_seconds_and_is_forgotten_after_thirty_of_life() -> None:
    child = Child(Program("x", ("x",)))
    waits = [child.plan_restart(lambda: 5.0) for _ in range(7)]
    assert waits == [0.5, 1, 2, 4, 8, 10, 10]
    assert child.plan_restart(lambda: 29.9) == 10
    assert child.plan_restart(lambda: 30.0) == 0.5


def test_a_program_that_is_not_there_is_said_and_tried_again(tmp_path: Path) -> None:
    log = io.StringIO()
    with Supervisor(cwd=tmp_path, log=log) as supervisor:
        supervisor.add(Program("broker", ("/nowhere/redis",)))
        supervisor.run([stop_when(lambda: supervisor.restarts("broker") == 1)])
    assert "broker cannot be started: /nowhere/redis is not there." in log.getvalue()


NOTES_ITS_END = """
import signal, sys, time
def end(*_):
    with open(sys.argv[1], "a") as file:
        print(sys.argv[2], file=file)
    sys.exit(0)
signal.signal(signal.SIGTERM, end)
print("here", flush=True)
time.sleep(600)
"""


def test_the_web_stops_before_the_workers_and_these_before_the_broker(tmp_path: Path) -> None:
    log, ends = io.StringIO(), tmp_path / "ends"
    with Supervisor(cwd=tmp_path, log=log) as supervisor:
        for tier, name in enumerate(("broker", "worker", "web")):
            supervisor.add(Program(name, python(NOTES_ITS_END, ends, name), tier=tier))
        supervisor.run([stop_when(lambda: log.getvalue().count("here") == 3)])
    assert ends.read_text().split() == ["web", "worker", "broker"]


def test_who_does_not_end_is_killed_after_the_grace_with_all_that_it_started(tmp_path: Path) -> None:
    stubborn = (
        "import signal, subprocess, sys, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        "inner = subprocess.Popen(['sleep', '600']); print('pid', inner.pid, flush=True); time.sleep(600)"
    )
    log = io.StringIO()
    with Supervisor(cwd=tmp_path, log=log, grace_s=0.3) as supervisor:
        supervisor.add(Program("worker", python(stubborn)))
        supervisor.run([stop_when(lambda: "pid" in log.getvalue())])
        asked = time.monotonic()
    assert 0.3 <= time.monotonic() - asked < 3
    inner = int(log.getvalue().split("pid ")[1].split()[0])
    assert wait_for(lambda: not runs(inner))


def test_a_worker_that_dies_takes_its_own_children_with_it(tmp_path: Path) -> None:
    """A pool's processes would go on holding its queue."""
    pool = "import subprocess, time; p = subprocess.Popen(['sleep', '600']); print('pid', p.pid, flush=True); time.sleep(600)"
    log, ended = io.StringIO(), []
    with Supervisor(cwd=tmp_path, log=log, after_end=lambda: ended.append(runs(pid()))) as supervisor:

        def pid() -> int:
            return int(log.getvalue().split("pid ")[1].split()[0])

        def kill() -> bool:
            if "pid" in log.getvalue():
                os.kill(supervisor._children[0].process.pid, signal.SIGKILL)  # type: ignore[union-attr]
                return False
            return True

        supervisor.add(Program("worker", python(pool)))
        supervisor.run([Hook(0.02, kill), stop_when(lambda: bool(ended))])
    assert "worker was ended by SIGKILL" in log.getvalue()
    assert wait_for(lambda: not runs(pid()))


def test_a_restart_asks_first_and_kills_who_does_not_listen(tmp_path: Path) -> None:
    deaf = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('here', flush=True); time.sleep(600)"
    )
    log = io.StringIO()
    with Supervisor(cwd=tmp_path, log=log, grace_s=0.2) as supervisor:
        supervisor.add(Program("worker", python(deaf)))

        def restart() -> bool:
            if "here" not in log.getvalue():
                return True
            supervisor.restart("worker", "it does not listen")
            supervisor.restart("worker", "said once, not twice")
            return False

        supervisor.run([Hook(0.02, restart), stop_when(lambda: log.getvalue().count("here") == 2)])
    assert log.getvalue().count("worker is restarted") == 1
    assert "worker was ended by SIGKILL" in log.getvalue()


def test_only_children_of_ours_are_killed(tmp_path: Path) -> None:
    other = subprocess.Popen(["sleep", "600"])
    log = io.StringIO()
    try:
        with Supervisor(cwd=tmp_path, log=log) as supervisor:
            supervisor.add(Program("worker", python(SLEEPS)))
            supervisor.kill(other.pid, "not ours")
            supervisor.kill(supervisor._children[0].process.pid, "it ran too long")  # type: ignore[union-attr]
            supervisor.run([stop_when(lambda: "SIGKILL" in log.getvalue())])
        assert other.poll() is None
        assert "worker is killed: it ran too long" in log.getvalue()
    finally:
        other.kill()
        other.wait()


def test_a_hook_that_fails_is_heard_and_called_again(tmp_path: Path) -> None:
    log = io.StringIO()

    def fail() -> bool:
        raise ValueError("the database is away")

    with Supervisor(cwd=tmp_path, log=log) as supervisor:
        supervisor.run([Hook(0.02, fail), stop_when(lambda: log.getvalue().count("the database is away") > 1)])


def test_a_hook_can_end_it_all_with_its_reason(tmp_path: Path) -> None:
    def give_up() -> bool:
        raise GiveUp("The web server does not start.")

    pids: list[int] = []

    def run() -> None:
        with Supervisor(cwd=tmp_path, log=io.StringIO()) as supervisor:
            supervisor.add(Program("web", python(SLEEPS)))
            pids.extend(child.process.pid for child in supervisor._children if child.process)
            supervisor.run([Hook(1, give_up)])

    with pytest.raises(GiveUp, match="does not start"):
        run()
    assert len(pids) == 1
    assert not runs(pids[0])


def test_a_child_is_nice_and_bounded_in_memory(tmp_path: Path) -> None:
    greedy = (
        "import os\ntry: bytearray(400 * 1024 * 1024)\nexcept MemoryError: print('refused, nice', os.nice(0), flush=True)\n"
        "import time; time.sleep(600)"
    )
    log = io.StringIO()
    with Supervisor(cwd=tmp_path, log=log) as supervisor:
        supervisor.add(Program("worker", python(greedy), nice=10, memory_bytes=256 * 1024 * 1024))
        supervisor.run([stop_when(lambda: "nice" in log.getvalue())])
    assert f"refused, nice {os.nice(0) + 10}" in log.getvalue()


def test_signals_are_given_back_afterwards(tmp_path: Path) -> None:
    before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGCHLD)]
    with Supervisor(cwd=tmp_path, log=io.StringIO()):
        assert signal.getsignal(signal.SIGINT) != before[0]
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGCHLD)] == before


SUPERVISES = """
import sys
from pathlib import Path
from studio.running import place
from studio.running.child import Program
from studio.running.supervisor import Supervisor
inner = "import os, subprocess, sys, time; p = subprocess.Popen(['sleep', '600']);" \
    "print('pids', os.getpid(), p.pid, flush=True); time.sleep(600)"
with place.lock(Path(sys.argv[1])) as lock, Supervisor(cwd=Path("/"), held=[lock]) as supervisor:
    print("minder", supervisor._minder._process.pid, file=sys.stderr, flush=True)
    supervisor.add(Program("worker", (sys.executable, "-S", "-c", inner)))
    supervisor.run()
"""


def start(tmp_path: Path) -> tuple[subprocess.Popen[str], int, list[int]]:
    """A supervisor in a process of its own, the pid of its minder, and those of its child and grandchild."""
    running = subprocess.Popen(
        [sys.executable, "-c", SUPERVISES, str(tmp_path)], cwd=ROOT, stderr=subprocess.PIPE, text=True
    )
    assert running.stderr
    minder = int(running.stderr.readline().split()[1])
    return running, minder, [int(word) for word in running.stderr.readline().split()[3:]]


def test_kill_9_of_the_supervisor_ends_children_and_theirs(tmp_path: Path) -> None:
    running, _, pids = start(tmp_path)
    with running:
        assert len(pids) == 2
        assert all(map(runs, pids))
        running.kill()
    assert wait_for(lambda: not any(map(runs, pids)), 5), pids


def test_a_killed_minder_is_replaced_and_the_new_one_minds_the_old_children(tmp_path: Path) -> None:
    running, minder, pids = start(tmp_path)
    with running:
        os.kill(minder, signal.SIGKILL)
        assert wait_for(lambda: not Path(f"/proc/{minder}").exists())
        time.sleep(0.5)  # for the new one to be told
        assert all(map(runs, pids))
        running.kill()
    assert wait_for(lambda: not any(map(runs, pids)), 5), pids


def test_sigterm_ends_it_cleanly(tmp_path: Path) -> None:
    running, minder, pids = start(tmp_path)
    with running:
        running.terminate()
        assert running.wait(timeout=10) == 0
    assert not any(map(runs, [*pids, minder]))
