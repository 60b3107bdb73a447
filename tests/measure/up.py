"""A studio that runs for a measurement: started as anybody starts it, in a new folder, and stopped again. No Django."""

import json
import math
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
READY_S = 90.0
STOPPED_S = 60.0
# A measurement has its own of these, whatever the caller's environment says.
OWN = (
    "STUDIO_DATA",
    "STUDIO_ADDRESS",
    "STUDIO_HOSTS",
    "STUDIO_BROKER_URL",
    "STUDIO_DATABASE_URL",
    "STUDIO_SMTP_URL",
    "STUDIO_LETTERS_FROM",
)


@dataclass(frozen=True)
class Up:
    """The studio as it runs: where it answers, the process that watches over it, and its log."""

    url: str
    pid: int
    log: Path
    ready_s: float


def settle_in(folder: Path) -> None:
    """From now on ``folder/data`` is this process's own data folder, whatever its environment said before."""
    for name in OWN:
        os.environ.pop(name, None)
    os.environ["STUDIO_DATA"] = str(folder / "data")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")


@contextmanager
def own_folder(keep: bool) -> Iterator[Path]:
    """A new folder for one measurement, thrown away afterwards; or kept, and then it is said where."""
    folder = Path(tempfile.mkdtemp(prefix="natch-measure-"))
    try:
        yield folder
    finally:
        if keep:
            print(f"Kept: {folder}")
        else:
            shutil.rmtree(folder, ignore_errors=True)


def told(figures: Mapping[str, float], problems: Sequence[str]) -> int:
    """Says what was not reached, and the figures in the last line. Returns the exit code."""
    for sentence in problems:
        print(f"Not reached: {sentence}.")
    print(json.dumps(figures))
    return 1 if problems else 0


@contextmanager
def running(
    folder: Path,
    broker: str,
    *,
    root: Path = ROOT,
    python: str = sys.executable,
    ready_s: float = READY_S,
    **given: str,
) -> Iterator[Up]:
    """``manage.py up`` on ``folder/data``, which this process from now on calls its own data folder too.

    ``root`` is the checkout that is started, by which Python. ``given`` are settings of this run alone. Raises RuntimeError, with the end of the log, where it does not come up or does not stop with 0.
    """
    settle_in(folder)
    log, ready = folder / "up.log", folder / "ready.json"
    command = [python, str(root / "manage.py"), "up", "--port", "0", "--data", str(folder / "data")]
    command += ["--ready-file", str(ready), "--broker", broker]
    began = time.monotonic()
    with log.open("wb") as said:
        environment = {**os.environ, **given}
        process = subprocess.Popen(
            command, cwd=root, env=environment, stdout=said, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL
        )
    try:
        while not ready.exists():
            if process.poll() is not None or time.monotonic() - began > ready_s:
                raise RuntimeError(f"The studio did not come up:\n{_end_of(log)}")
            time.sleep(0.05)
        url = json.loads(ready.read_text())["url"]
        yield Up(url, process.pid, log, time.monotonic() - began)
        process.send_signal(signal.SIGTERM)
        code = process.wait(STOPPED_S)
        if code:
            raise RuntimeError(f"The studio ended with {code} instead of 0:\n{_end_of(log)}")
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def _end_of(log: Path) -> str:
    return "\n".join(log.read_text(errors="replace").splitlines()[-30:])


def p95(values: Sequence[float]) -> float:
    """The nearest-rank 95th percentile: the smallest value that at least 95 % of all do not exceed. 0 for none."""
    return sorted(values)[math.ceil(0.95 * len(values)) - 1] if values else 0.0


def table(rows: Sequence[Sequence[object]]) -> str:
    """Lines of equal columns, the first row as their heads."""
    words = [[str(cell) for cell in row] for row in rows]
    widths = [max(len(row[place]) for row in words) for place in range(len(words[0]))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in words)


def missed(figures: Mapping[str, float], most: Mapping[str, float], least: Mapping[str, float]) -> list[str]:
    """A sentence for each bound that was not held."""
    over = [
        f"{name} is {figures[name]}, at most {bound} is wanted" for name, bound in most.items() if figures[name] > bound
    ]
    return over + [
        f"{name} is {figures[name]}, at least {bound} is wanted"
        for name, bound in least.items()
        if figures[name] < bound
    ]
