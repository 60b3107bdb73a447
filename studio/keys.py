"""Keys that sign links and sessions: from the environment, else from files that are made once and only their owner can read."""

import os
import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from studio.env import PREFIX, BadSetting, text, unusable, words

SHORTEST = 32  # characters


def secret(name: str, file: Path) -> str:
    """A key from the environment, else from ``file``, which is made on first use and readable by its owner only."""
    return every(name, file)[0]


def every(name: str, file: Path) -> list[str]:
    """As ``secret``; a file may hold more of them, a line each. The first is the one in use, the others are earlier ones."""
    value = text(name)
    if value:
        return _long_enough(name, [value])
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        if not file.exists():
            # Written whole under another name, then linked: two processes that start at once agree on one key.
            with _draft_of(file, [new()]) as draft, suppress(FileExistsError):
                os.link(draft, file)
        found = [line.strip() for line in file.read_text().splitlines() if line.strip()]
    except OSError as error:
        raise unusable(PREFIX + name, file, error) from None
    if not found or any(len(key) < SHORTEST for key in found):
        raise BadSetting(PREFIX + name, f"{file} is empty or cut short. Put it back from a back-up.")
    return found


def earlier(name: str) -> list[str]:
    return _long_enough(name, words(name))


def _long_enough(name: str, found: list[str]) -> list[str]:
    if any(len(key) < SHORTEST for key in found):
        raise BadSetting(PREFIX + name, f"write at least {SHORTEST} characters that nobody can guess.")
    return found


def new() -> str:
    return secrets.token_urlsafe(48)


def put(file: Path, found: Sequence[str]) -> None:
    """Replaces what ``file`` holds. At any moment, and after a power cut, it holds all of the old or all of the new."""
    with _draft_of(file, found) as draft:
        draft.replace(file)
    folder = os.open(file.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


@contextmanager
def _draft_of(file: Path, found: Sequence[str]) -> Iterator[Path]:
    """These keys under another name, whole, on the disk and for the owner only; gone afterwards."""
    draft = file.with_name(f".{file.name}.{secrets.token_hex(4)}")
    try:
        draft.touch(mode=0o600, exist_ok=False)
        with draft.open("w") as out:
            out.writelines(f"{key}\n" for key in found)
            out.flush()
            os.fsync(out.fileno())
        yield draft
    finally:
        draft.unlink(missing_ok=True)
