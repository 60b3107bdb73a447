"""Keeps child processes running in the foreground: their log lines, their restarts, their end.

One thread and no Django. What is done beside that comes from outside, as hooks.
"""

import contextlib
import selectors
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType, TracebackType
from typing import Self, TextIO

from studio.running.child import Child, Process, Program
from studio.running.minder import Minder

GRACE_S = 10.0
ME = "up"


class GiveUp(Exception):
    """The studio cannot run. The sentence says why, and what to do. Raised by a hook, it stops everything."""


@dataclass
class Hook:
    """Called every so many seconds while it returns True."""

    every_s: float
    call: Callable[[], bool]
    due: float = 0.0


class Supervisor:
    """Use as a context: on leaving it, every child is stopped, the last tier first."""

    def __init__(
        self,
        *,
        cwd: Path,
        log: TextIO = sys.stderr,
        held: Sequence[int] = (),
        grace_s: float = GRACE_S,
        after_end: Callable[[], object] = lambda: None,
    ) -> None:
        """``held`` are open files that stay open until all children are gone, even where we are killed.

        ``after_end`` is called when a child has ended that was not meant to.
        """
        self._cwd = cwd
        self._log = log
        self._held = tuple(held)
        self._grace_s = grace_s
        self._after_end = after_end
        self._children: list[Child] = []
        self._asked_to_stop = 0  # so many times

    def __enter__(self) -> Self:
        self._minder = Minder(self._held)
        self._selector = selectors.DefaultSelector()
        # A signal writes a byte here, and so wakes the one thread that waits for everything.
        self._wake, self._wakes = socket.socketpair()
        for end in (self._wake, self._wakes):
            end.setblocking(False)
        self._selector.register(self._wake, selectors.EVENT_READ)
        self._old_wakes = signal.set_wakeup_fd(self._wakes.fileno(), warn_on_full_buffer=False)
        ask = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
        self._old = {number: signal.signal(number, self._on_signal) for number in ask}
        self._old[signal.SIGCHLD] = signal.signal(signal.SIGCHLD, lambda number, frame: None)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        try:
            self._stop()
        finally:
            for number, handler in self._old.items():
                signal.signal(number, handler)
            signal.set_wakeup_fd(self._old_wakes)
            for end in (self._selector, self._wake, self._wakes, self._minder):
                end.close()

    def say(self, line: str, name: str = ME) -> None:
        with contextlib.suppress(OSError):  # nobody reads our log any more: no reason to stop working
            print(f"{name:<8} | {line}", file=self._log, flush=True)

    def add(self, program: Program) -> None:
        """Starts it now and keeps it running."""
        child = Child(program)
        self._children.append(child)
        self._start(child)

    def remove(self, name: str) -> None:
        """Ends a child at once, and for good."""
        for child in self._named(name):
            self._children.remove(child)
            self._bury(child)

    def restart(self, name: str, reason: str) -> None:
        """Asks a child to end, and kills it where it has not after the grace. It starts again by itself."""
        for child in self._named(name):
            if child.process and child.kill_at is None:
                self.say(f"{name} is restarted: {reason}")
                child.process.ask_to_end()
                child.kill_at = time.monotonic() + self._grace_s

    def kill(self, pid: int, reason: str) -> None:
        """Kills a child of ours with all that it has started. Any other process is left alone."""
        for child in self._children:
            if child.process and child.process.pid == pid:
                self.say(f"{child.program.name} is killed: {reason}")
                child.process.kill()

    def restarts(self, name: str) -> int:
        return sum(child.restarts for child in self._named(name))

    def run(self, hooks: Iterable[Hook] = ()) -> None:
        """Until somebody asks us to stop. Raises GiveUp where a hook does."""
        waiting = list(hooks)
        while not self._asked_to_stop:
            now = time.monotonic()
            for hook in [hook for hook in waiting if hook.due <= now]:
                hook.due = now + hook.every_s
                if not self._ask(hook.call, otherwise=True):
                    waiting.remove(hook)
            self._turn(min([hook.due for hook in waiting], default=now + 1))

    def _ask(self, question: Callable[[], object], otherwise: bool) -> object:
        try:
            return question()
        except GiveUp:
            raise
        except Exception as error:  # it looks after others; its own trouble must not end them
            self.say(f"{type(error).__name__}: {error}")
            return otherwise

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self._asked_to_stop += 1

    def _named(self, name: str) -> list[Child]:
        return [child for child in self._children if child.program.name == name]

    def _start(self, child: Child) -> None:
        child.started, child.restart_at, child.kill_at = time.monotonic(), None, None
        try:
            child.process = Process(child.program, cwd=self._cwd, minder_pipe=self._minder.pipe)
        except OSError as error:
            self.say(f"{child.program.name} cannot be started: {error}")
            child.plan_restart()
        else:
            self._selector.register(child.process.output, selectors.EVENT_READ, child)

    def _turn(self, until: float) -> None:
        """Waits for something to happen, at most until then, and sees to it."""
        times = [moment for child in self._children for moment in (child.restart_at, child.kill_at) if moment]
        self._listen(min([until, *times]))
        if not self._minder.lives():
            self._minder.close()
            self._minder = Minder(self._held)
            self._minder.told(born=[child.process.pid for child in self._children if child.process])
        now = time.monotonic()
        for child in self._children:
            if child.process and child.process.ended() is not None:
                self._ended(child, child.process)
            elif child.process and child.kill_at and child.kill_at <= now:
                child.kill_at = None
                child.process.kill()
            elif child.restart_at and child.restart_at <= now:
                child.restarts += 1
                self._start(child)

    def _listen(self, until: float) -> None:
        for key, _ in self._selector.select(max(0.0, until - time.monotonic())):
            if key.data is None:
                self._wake.recv(4096)
            else:
                self._read(key.data)

    def _read(self, child: Child) -> None:
        if child.process:
            lines = child.process.lines()
            for line in lines or ():
                self.say(line, child.program.name)
            if lines is None:  # the end: it has closed its output, and may live on
                self._selector.unregister(child.process.output)

    def _ended(self, child: Child, process: Process) -> None:
        code = process.ended() or 0
        self._bury(child)
        how = f"was ended by {signal.Signals(-code).name}" if code < 0 else f"ended with {code}"
        wait_s = child.plan_restart()
        self.say(f"{child.program.name} {how}; it starts again in {wait_s:.1f} s")
        self._ask(self._after_end, otherwise=False)

    def _bury(self, child: Child) -> None:
        if process := child.process:
            with contextlib.suppress(KeyError):  # it had closed its output before
                self._selector.unregister(process.output)
            for line in process.bury():
                self.say(line, child.program.name)
            self._minder.told(dead=[process.pid])
            child.process = child.kill_at = None

    def _stop(self) -> None:
        """SIGTERM, tier by tier; whoever has not ended after the grace, or when we are asked once more, is killed."""
        asked = max(self._asked_to_stop, 1)
        for tier in sorted({child.program.tier for child in self._children}, reverse=True):
            members = [child for child in reversed(self._children) if child.program.tier == tier]
            for child in members:
                if child.process:
                    child.process.ask_to_end()
            until = time.monotonic() + self._grace_s
            while self._lives(members) and time.monotonic() < until and self._asked_to_stop <= asked:
                self._listen(until)
            for child in members:
                self._bury(child)

    def _lives(self, members: Iterable[Child]) -> bool:
        return any(child.process and child.process.ended() is None for child in members)
