"""One child process: how it is started, what it says, how it ends."""

import os
import resource
import shutil
import signal
import subprocess
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from studio.running.minder import signal_group

FIRST_WAIT_S = 0.5  # before a restart; doubles each time
LONGEST_WAIT_S = 10.0
SETTLED_S = 30.0  # a child that has lived so long starts again with the first wait


@dataclass(frozen=True)
class Program:
    """What to run. A higher ``tier`` is stopped earlier. ``memory_bytes`` bounds its address space, 0 does not."""

    name: str
    command: tuple[str, ...]
    environment: Mapping[str, str] = field(default_factory=dict)
    tier: int = 0
    nice: int = 0
    memory_bytes: int = 0


class Process:
    """A program that was started, in a session and so in a process group of its own. Raises OSError."""

    def __init__(self, program: Program, *, cwd: Path, minder_pipe: int) -> None:
        if shutil.which(program.command[0]) is None:  # asked before, or the minder would learn of a pid that never ran
            raise FileNotFoundError(f"{program.command[0]} is not there.")

        def before() -> None:
            # From here on the minder knows of us: there is no moment in which a child could be left behind.
            os.write(minder_pipe, b"+%d\n" % os.getpid())
            os.nice(program.nice)
            if program.memory_bytes:
                resource.setrlimit(resource.RLIMIT_AS, (program.memory_bytes, program.memory_bytes))

        self.output, writes = os.pipe()
        os.set_blocking(self.output, False)
        self._tail = b""  # the beginning of a line whose end has not come yet
        try:
            self._popen = subprocess.Popen(
                program.command,
                cwd=cwd,
                env={**os.environ, **program.environment},
                stdin=subprocess.DEVNULL,
                stdout=writes,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=before,  # sound, because the supervisor has one thread only
            )
        except BaseException as error:
            os.close(self.output)
            raise OSError(str(error)) if isinstance(error, subprocess.SubprocessError) else error from None
        finally:
            os.close(writes)
        self.pid = self._popen.pid

    def ended(self) -> int | None:
        """The exit code, negative for the number of a signal; None while it lives."""
        return self._popen.poll()

    def ask_to_end(self) -> None:
        self._popen.terminate()

    def kill(self) -> None:
        """With everything that it has started."""
        signal_group(self.pid, signal.SIGKILL)

    def lines(self) -> list[str] | None:
        """What it has said since. None where nothing more is there to read, for now or for ever."""
        try:
            piece = os.read(self.output, 65536)
        except BlockingIOError:
            return None
        if not piece:
            return None
        *whole, self._tail = (self._tail + piece).split(b"\n")
        return [line.decode(errors="replace").rstrip() for line in whole]

    def bury(self) -> list[str]:
        """Kills what it has left behind, waits for it, and gives its last words."""
        self.kill()
        self._popen.wait()
        said: list[str] = []
        while (lines := self.lines()) is not None:
            said += lines
        os.close(self.output)
        return [*said, self._tail.decode(errors="replace")] if self._tail else said


@dataclass
class Child:
    """A program that is kept running: its process, where it has one, and when what is due. Times are monotonic."""

    program: Program
    process: Process | None = None
    started: float = 0.0
    wait_s: float = FIRST_WAIT_S
    restart_at: float | None = None
    kill_at: float | None = None
    restarts: int = 0

    def plan_restart(self, clock: Callable[[], float] = time.monotonic) -> float:
        """Returns the seconds until then."""
        now = clock()
        if now - self.started >= SETTLED_S:
            self.wait_s = FIRST_WAIT_S
        wait_s, self.wait_s = self.wait_s, min(self.wait_s * 2, LONGEST_WAIT_S)
        self.restart_at = now + wait_s
        return wait_s
