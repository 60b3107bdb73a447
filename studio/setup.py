"""Makes `.venv` beside manage.py on first use, fills it from a lock file with hashes, and goes on inside it.

Standard library only, and readable by Python 3.7, so that an old Python gets a sentence instead of a SyntaxError; what not every
Python has is imported where it is needed.
Only manage.py and `.ci` come through here; the web and the workers never install anything.
"""

from __future__ import annotations

import errno
import hashlib
import importlib.util
import os
import re
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stdout
from io import StringIO
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
LOCKS = Path(__file__).resolve().parent / "locks"
OLDEST = (3, 11)
ENTERED = "STUDIO_SETUP_ENTERED"  # set over the one re-execution, so that a broken .venv cannot make a circle of it

USAGE = """\
python3 manage.py up      runs the studio: web, workers and all. Add --help to see what can be chosen.
python3 manage.py test    runs all tests. What follows -- goes to pytest."""


class Stop(SystemExit):
    """Ends the program with one sentence on stderr that says what to do."""


def enter(argv: list[str]) -> None:
    """Returns inside a Python that has the packages of the lock; may run the whole program anew in `.venv`."""
    _refuse_old_python(sys.version_info[:2])
    if len(argv) < 2:
        print(USAGE)
        raise SystemExit(0)
    if argv[1] == "up":
        _set_data_folder(argv[2:])
    entered = os.environ.pop(ENTERED, "")
    if os.environ.get("STUDIO_NO_VENV") == "1":
        return
    lock = "test" if argv[1] == "test" else "run"
    if _ready_here(lock):
        return
    if entered and not _inside():
        raise Stop(f"{VENV} does not work as a Python environment. Delete that folder and try again.")
    if _inside() or not _stamped(lock):
        prepare(lock)
    os.environ[ENTERED] = "1"
    python = str(_python())
    os.execv(python, [python, str(ROOT / "manage.py"), *argv[1:]])  # noqa: S606


def prepare(lock: str) -> None:
    """Makes `.venv` and installs `studio/locks/<lock>.txt` into it, unless that has been done. Raises Stop."""
    with _only_one():
        if _stamped(lock) and _works():
            return
        print("Setting up .venv (first use, about half a minute)...", file=sys.stderr, flush=True)
        with _sentences():
            # A `.venv` that somebody else made is filled up, not thrown away; one that was left half made is.
            if _unfinished().exists() or not _works():
                _make_venv()
            _unfinished().touch()
            _stamp().unlink(missing_ok=True)
            _install(lock)
            _stamp().write_text(_sha256(lock))
            _unfinished().unlink()
    print(".venv is ready.", file=sys.stderr, flush=True)


def _refuse_old_python(version: Sequence[int]) -> None:
    if tuple(version) < OLDEST:
        raise Stop(
            f"Python 3.11 or later is needed; this is {version[0]}.{version[1]}. "
            "Install a newer one and start with it, for example: python3.11 manage.py up"
        )


def _set_data_folder(arguments: list[str]) -> None:
    """The settings are read before Django looks at any argument, so the data folder goes by the environment."""
    for place, word in enumerate(arguments):
        name, equals, value = word.partition("=")
        if name != "--data":
            continue
        value = value if equals else "".join(arguments[place + 1 : place + 2])
        if not value:
            raise Stop("Name a folder after --data, for example: python3 manage.py up --data /srv/studio")
        os.environ["STUDIO_DATA"] = str(Path(value).expanduser().absolute())


def _sha256(lock: str) -> str:
    return hashlib.sha256((LOCKS / f"{lock}.txt").read_bytes()).hexdigest()


def _stamp() -> Path:
    return VENV / "lock.sha256"


def _unfinished() -> Path:
    return VENV / "unfinished"


def _python() -> Path:
    return VENV / "bin" / "python"


def _inside() -> bool:
    return Path(sys.prefix).resolve() == VENV.resolve()


def _stamped(lock: str) -> bool:
    """The test lock holds all of the run lock, so it serves both."""
    try:
        return _stamp().read_text().strip() in {_sha256(lock), _sha256("test")}
    except OSError:
        return False


def _ready_here(lock: str) -> bool:
    """This Python has what the lock names: it is the stamped `.venv`, or each package stands here as locked."""
    if _inside() and _stamped(lock) and importlib.util.find_spec("django"):
        return True
    return all(_installed(name, version) for name, version in _pins(lock))


def _pins(lock: str) -> list[tuple[str, str]]:
    """Name and version of what every machine needs; lines with a condition are left to pip."""
    lines = (LOCKS / f"{lock}.txt").read_text().splitlines()
    found = (re.fullmatch(r"([\w.-]+)(?:\[[\w,-]*\])?==([^\s;]+) *\\?", line) for line in lines)
    return [(match[1], match[2]) for match in found if match]


def _installed(name: str, version: str) -> bool:
    from importlib import metadata

    try:
        return metadata.version(name) == version
    except metadata.PackageNotFoundError:
        return False


def _works() -> bool:
    """Whether `.venv` has a Python of its own that runs and has pip: not half made, nor left over from an older Python."""
    command = [
        str(_python()),
        "-c",
        "import sys, pip; sys.exit(sys.version_info < (3, 11) or sys.prefix == sys.base_prefix)",
    ]
    try:
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


@contextmanager
def _only_one() -> Iterator[None]:
    """One set-up at a time in this checkout. The lock is on the folder itself and falls with the process."""
    try:
        import fcntl
    except ImportError:
        raise Stop("This runs on Linux and macOS. On Windows, use the Windows Subsystem for Linux.") from None
    folder = os.open(ROOT, os.O_RDONLY)
    try:
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            print("Waiting for another set-up of .venv to end...", file=sys.stderr, flush=True)
            fcntl.flock(folder, fcntl.LOCK_EX)
        yield
    finally:
        os.close(folder)


def _no_venv() -> Stop:
    python = f"python{sys.version_info[0]}.{sys.version_info[1]}"
    return Stop(
        "This Python cannot make virtual environments. Install the missing part and try again; "
        f"on Debian and Ubuntu: sudo apt install python3-venv (or {python}-venv)"
    )


@contextmanager
def _sentences() -> Iterator[None]:
    """What a full or locked disk says while `.venv` is being made, as one sentence."""
    try:
        yield
    except OSError as error:
        raise _about_disk(error.errno, str(error)) from None


def _about_disk(number: int | None, text: str) -> Stop:
    if number in {errno.ENOSPC, errno.EDQUOT} or "No space left" in text or "Disk quota" in text:
        return Stop(f"The disk is full. About 300 MB are needed in {ROOT}; make room and try again.")
    if number in {errno.EACCES, errno.EPERM, errno.EROFS} or "Permission denied" in text or "Read-only" in text:
        return Stop(f"{ROOT} is not writable. Copy the folder to a place that is yours and start it there.")
    return Stop(f"Setting up {VENV} failed: {text}. Delete that folder if it is there, and try again.")


def _make_venv() -> None:
    try:
        import ensurepip  # noqa: F401
        from venv import EnvBuilder
    except ImportError:
        raise _no_venv() from None
    try:
        with redirect_stdout(StringIO()):  # Debian's own venv says there at length what our sentence says
            EnvBuilder(clear=VENV.exists(), symlinks=True, with_pip=True).create(VENV)
    except subprocess.CalledProcessError as error:
        said = (error.output or b"").decode(errors="replace")
        raise _about_disk(None, said) if "No space left" in said else _no_venv() from None
    except SystemExit:  # how Debian's own venv says that ensurepip is missing
        raise _no_venv() from None


def _install(lock: str) -> None:
    command = [str(_python()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"]
    command += ["--no-deps", "--require-hashes", "--only-binary=:all:", "-r", str(LOCKS / f"{lock}.txt")]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    if done.returncode:
        raise _about_pip(done.stderr)


def _about_pip(said: str) -> Stop:
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    last = next(
        (line for line in reversed(lines) if line.startswith("ERROR:")), lines[-1] if lines else "no reason given"
    )
    if re.search(r"No space left|Disk quota|Permission denied|Read-only", said):
        return _about_disk(None, said)
    if "DO NOT MATCH THE HASHES" in said:
        return Stop(
            f"A downloaded package is not the one that the lock names, so nothing was used. Try again. ({last})"
        )
    if re.search(r"Connection|Temporary failure|Name or service|timed out|Max retries|ProxyError|SSLError", said):
        return Stop("The packages could not be fetched. Check the internet connection and try again.")
    if "No matching distribution" in said:
        return Stop(
            f"A package has no ready-made build for this machine, or the package index cannot be reached. ({last}) "
            "Check the internet connection, or try another Python from 3.11 on."
        )
    return Stop(f"pip could not install the packages. It said: {last}")


if __name__ == "__main__":
    _refuse_old_python(sys.version_info[:2])
    prepare("test" if sys.argv[1:] == ["test"] else "run")
