"""Where the bytes of photos lie. A file is whole and on the disk before any row names it, and its name is its SHA-256."""

import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from django.conf import settings

ORIGINALS = "originals"
RENDITIONS = "renditions"
_SHA256 = re.compile(r"[0-9a-f]{64}")


def _place(shelf: str, sha256: str) -> Path:
    if not _SHA256.fullmatch(sha256):
        raise FileNotFoundError(sha256)
    return Path(settings.MEDIA_ROOT) / shelf / sha256[:2] / sha256


def sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _shelve(arrived: Path, shelf: str, sha256: str) -> None:
    """Gives a finished file its place, as a second name for the same bytes; whoever made the first name removes it.

    Raises OSError with errno ENOSPC where the disk is full.
    """
    place = _place(shelf, sha256)
    place.parent.mkdir(parents=True, exist_ok=True)
    with arrived.open("rb") as file:
        os.fsync(file.fileno())
    arrived.chmod(0o600)
    try:
        os.link(arrived, place)
    except FileExistsError:
        os.utime(place)  # young again, so that the tidying up leaves it alone until a row names it
    sync_folder(place.parent)


def keep_original(arrived: Path) -> str:
    """Keeps a file that was uploaded to the media's own disk; returns its SHA-256."""
    with arrived.open("rb") as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    _shelve(arrived, ORIGINALS, sha256)
    return sha256


def keep_rendition(content: bytes) -> str:
    """Writes a developed copy; returns its SHA-256. Writing the same bytes again changes nothing."""
    sha256 = hashlib.sha256(content).hexdigest()
    with tempfile.NamedTemporaryFile(dir=settings.FILE_UPLOAD_TEMP_DIR, prefix="developed-") as draft:
        draft.write(content)
        draft.flush()
        _shelve(Path(draft.name), RENDITIONS, sha256)
    return sha256


def original_path(sha256: str) -> Path:
    return _place(ORIGINALS, sha256)


def rendition_path(sha256: str) -> Path:
    return _place(RENDITIONS, sha256)


def open_rendition(sha256: str) -> BinaryIO:
    """Raises FileNotFoundError where there is none."""
    return rendition_path(sha256).open("rb")


def shelved(shelf: str) -> Iterator[Path]:
    """Every file on a shelf, for the tidying up."""
    yield from (path for path in (Path(settings.MEDIA_ROOT) / shelf).glob("??/*") if path.is_file())


def left_over(before: float) -> Iterator[Path]:
    """Uploads that were cut off and drafts of a killed worker, last touched before a POSIX time in seconds."""
    arriving = Path(settings.FILE_UPLOAD_TEMP_DIR)
    yield from (path for path in arriving.iterdir() if path.is_file() and path.stat().st_mtime < before)
