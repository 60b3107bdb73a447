"""Ends the supervisor's children when the supervisor itself is killed.

The minder is this file run as a script, standard library only. Its stdin is a pipe that only the supervisor and, until
they start their program, its children hold for writing. A line ``+PID`` names the leader of a process group, ``-PID``
one that has ended. The pipe ends with the supervisor, however that dies; what is left is then killed at once, since
nobody is there to wait for it, and the rows outlive it.
"""

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Sequence
from pathlib import Path


class Minder:
    """The supervisor's side. ``held`` are open files that stay open until all children are gone."""

    def __init__(self, held: Sequence[int]) -> None:
        reads, self.pipe = os.pipe()
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-S", __file__], stdin=reads, start_new_session=True, pass_fds=held
        )
        os.close(reads)

    def lives(self) -> bool:
        return self._process.poll() is None

    def told(self, born: Iterable[int] = (), dead: Iterable[int] = ()) -> None:
        lines = [b"+%d\n" % pid for pid in born] + [b"-%d\n" % pid for pid in dead]
        with contextlib.suppress(OSError):  # it was killed: the next one is told afresh
            os.write(self.pipe, b"".join(lines))

    def close(self) -> None:
        os.close(self.pipe)
        self._process.wait()


def signal_group(pid: int, number: int) -> bool:
    """False where nobody of that group is left."""
    try:
        os.killpg(pid, number)
    except (ProcessLookupError, PermissionError):  # macOS says the second of a group of zombies
        return False
    return True


def _still_running(groups: set[int]) -> set[int]:
    """Those with a process that is more than a zombie: some init processes take seconds to collect the dead."""
    processes = Path("/proc")
    if not (processes / "self" / "stat").exists():
        return {group for group in groups if signal_group(group, 0)}
    found = set()
    for stat in processes.glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, _, group = stat.read_text().rpartition(")")[2].split()[:3]
            if state != "Z":
                found.add(int(group))
    return groups & found


def main() -> None:
    alive: set[int] = set()
    for line in sys.stdin:
        (alive.add if line[0] == "+" else alive.discard)(int(line[1:]))
    for group in alive:
        signal_group(group, signal.SIGKILL)
    # The lock of the data folder is ours too, and falls only now: until they are gone, nobody starts anew.
    until = time.monotonic() + 2
    while alive and time.monotonic() < until:
        time.sleep(0.02)
        alive = _still_running(alive)


if __name__ == "__main__":
    main()
