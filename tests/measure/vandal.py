"""Kills the processes of a running studio with SIGKILL, and empties its broker. Linux only: it reads /proc."""

import os
import random
import shutil
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar
from uuid import UUID

import redis

from tests.measure import yard

T = TypeVar("T")
KILL_EVERY_S = 5.0
LEAST_KILLS = 8
MOMENT_S = 2.5  # so long a fault waits for a moment when it cuts something off
BACK_WITHIN_S = 20.0
WEB, WORKER, CHILD, BEAT, BROKER, EMPTIED = "web", "worker", "worker's child", "beat", "broker", "emptied broker"
SIGNS = {
    WEB: ("studio.running.web",),
    WORKER: ("worker",),
    BEAT: ("studio.running.beat",),
    BROKER: ("redis-server", "valkey-server"),
}


@dataclass
class Fault:
    """What was done, when (POSIX time), and the errands that it cut off, with the seconds until each was done."""

    kind: str
    at: float
    errands: list[UUID]
    recovered_s: list[float] = field(default_factory=list)


class Vandal:
    """Each kind of process at least once, the rest by chance; the same seed makes the same plan."""

    def __init__(self, pid: int, broker: str, data: Path, seed: int) -> None:
        self._supervisor, self._broker, self._place = pid, broker, data / "broker"
        self._dice = random.Random(seed)
        self.faults: list[Fault] = []

    def plan(self, seconds: float) -> list[str]:
        kinds = [WEB, WORKER, BEAT, *((CHILD, BROKER) if self._broker == "redis" else ())]
        more = max(LEAST_KILLS, int(seconds / KILL_EVERY_S)) - len(kinds)
        planned = self._dice.sample(kinds, len(kinds)) + self._dice.choices(kinds, k=more)
        planned.insert(len(planned) // 2, EMPTIED)
        return planned

    def run(self, seconds: float) -> None:
        planned, began = self.plan(seconds), time.monotonic()
        for place, kind in enumerate(planned):
            due = began + (place + self._dice.random()) * seconds / len(planned)
            time.sleep(max(0.0, due - time.monotonic()))
            self._empty() if kind == EMPTIED else self._kill(kind)

    def _kill(self, kind: str) -> None:
        if kind == BROKER:
            wait_for(yard.due_errands, MOMENT_S)
        elif kind in {WORKER, CHILD}:
            wait_for(lambda: self._busy(kind), MOMENT_S)
        # It may still be on its way back from the last time.
        pids = wait_for(lambda: self._busy(kind) or self._pids(kind), BACK_WITHIN_S)
        if not pids:
            raise RuntimeError(f"The {kind} did not come back.")
        pid = self._dice.choice(pids)
        dying = [errand for worker, errand in yard.at_work().items() if pid in self._line(worker)]
        cut_off = yard.due_errands() if kind == BROKER else dying
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:  # it ended by itself in this very moment
            self._kill(kind)
        else:
            self.faults.append(Fault(kind, time.time(), cut_off))

    def _empty(self) -> None:
        """All nudges gone at once: FLUSHALL, or every folder of the folder broker thrown away."""
        wait_for(yard.due_errands, MOMENT_S)
        cut_off = yard.due_errands()
        if self._broker == "redis":
            with redis.Redis(unix_socket_path=str(self._place / "redis.sock")) as line:
                line.flushall()
        else:
            for path in self._place.iterdir():
                if path.is_dir():
                    shutil.rmtree(path, ignore_errors=True)
        self.faults.append(Fault(EMPTIED, time.time(), cut_off))

    def _busy(self, kind: str) -> list[int]:
        """Of these processes the ones that an errand ends with: who works on it, or whose child does."""
        lines = [self._line(worker) for worker in yard.at_work()]
        return [pid for pid in self._pids(kind) if any(pid in line for line in lines)]

    def _pids(self, kind: str) -> list[int]:
        """The processes of a kind that live now. A worker is the supervisor's own child; its children are its pool."""
        if kind == CHILD:
            workers = self._pids(WORKER)
            return [pid for pid in _processes() if _parent(pid) in workers]
        ours = [pid for pid in _processes() if _parent(pid) == self._supervisor]
        return [pid for pid in ours if not _words(pid).isdisjoint(SIGNS[kind])]

    def _line(self, pid: int) -> list[int]:
        """A process and those it comes from, up to the supervisor."""
        line = []
        while pid and pid != self._supervisor:
            line.append(pid)
            pid = _parent(pid)
        return line


def wait_for(question: Callable[[], list[T]], seconds: float) -> list[T]:
    """The first answer that holds something, or an empty one after so many seconds."""
    until = time.monotonic() + seconds
    while not (answer := question()) and time.monotonic() < until:
        time.sleep(0.02)
    return answer


def _processes() -> list[int]:
    return [int(path.name) for path in Path("/proc").iterdir() if path.name.isdecimal()]


def _parent(pid: int) -> int:
    """0 for a process that is gone, or dead and not yet reaped."""
    try:
        state, parent, *_ = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0
    return 0 if state == "Z" else int(parent)


def _words(pid: int) -> set[str]:
    """The arguments it was started with, and its program's bare name. Redis rewrites its own: a blank follows the name."""
    try:
        arguments = Path(f"/proc/{pid}/cmdline").read_text().split("\0")
    except OSError:
        return set()
    return {Path(arguments[0].partition(" ")[0]).name, *arguments}
