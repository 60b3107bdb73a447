"""Files that are only their owner's, and on the disk before anybody is told so."""

import errno
import hashlib
import os
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from studio.workshop import storage

CHUNK_BYTES = 1 << 20


class Unreadable(Exception):
    """A file that should be copied is not there, or the disk does not give it."""


@dataclass(frozen=True)
class Told:
    """What is known of a file."""

    sha256: str
    bytes: int


def chunks(path: Path) -> Iterator[bytes]:
    """Raises Unreadable, so that a bad source is told from a full disk where it goes."""
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK_BYTES):
                yield chunk
    except OSError as error:
        raise Unreadable(path.name) from error


def write(path: Path, content: Iterable[bytes]) -> Told:
    """Makes a new file. What it tells is of the bytes that were given, not of what the disk made of them."""
    private_folder(path.parent)
    digest, size = hashlib.sha256(), 0
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        for chunk in content:
            digest.update(chunk)
            size += file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
        if sys.platform == "linux":  # out of memory, so that reading it back asks the disk itself
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    return Told(digest.hexdigest(), size)


def replace(path: Path, content: Iterable[bytes]) -> None:
    """Whole or not at all, whatever stood there before."""
    draft = path.with_name(f".{path.name}.restoring")
    draft.unlink(missing_ok=True)
    write(draft, content)
    draft.replace(path)
    storage.sync_folder(path.parent)


def look(path: Path) -> Told:
    """Raises OSError."""
    with path.open("rb") as file:
        return Told(hashlib.file_digest(file, "sha256").hexdigest(), os.fstat(file.fileno()).st_size)


def private_folder(folder: Path) -> None:
    if not folder.is_dir():
        private_folder(folder.parent)
        folder.mkdir(mode=0o700)


def sync_folders(top: Path) -> None:
    """The names in all folders are on the disk, too."""
    for folder, _, _ in os.walk(top):
        storage.sync_folder(Path(folder))


def sentence(error: OSError, folder: Path) -> str:
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return f"The disk of {folder} is full. Make room, or choose another."
    return (
        f"{error.filename or folder} cannot be read or written ({error.strerror}). Put that right, or choose another."
    )
