"""Photos as they arrive and as they are shown: from an upload to a kept original, from a row to a picture for a page."""

import errno
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from django.core.files.uploadedfile import TemporaryUploadedFile, UploadedFile

from studio.workshop import storage
from studio.workshop.models import Photo
from studio.workshop.sniff import HEAD_BYTES, MOST_BYTES, SENTENCES, NotAPhoto, Reason, sniff


class DiskFull(Exception):
    """There is no room left for photos. Nothing half-written stays behind."""


@dataclass(frozen=True)
class Kept:
    """An original that is on the disk, and not yet named by any row."""

    sha256: str
    type: str
    size_bytes: int


@dataclass(frozen=True)
class Arrived:
    """What came with a form: the originals kept, and one sentence for each file that is not a photo."""

    kept: tuple[Kept, ...]
    refused: tuple[str, ...]


def keep(uploads: "Iterable[UploadedFile[bytes]]") -> Arrived:
    """Keeps each upload whose first bytes look like a photo. Raises DiskFull."""
    kept: dict[str, Kept] = {}
    refused = []
    for upload in uploads:
        try:
            if (upload.size or 0) > MOST_BYTES:
                raise NotAPhoto(Reason.TOO_LARGE)
            kind = sniff(upload.read(HEAD_BYTES))
            sha256 = storage.keep_original(_on_disk(upload))
        except NotAPhoto as problem:
            refused.append(SENTENCES[problem.reason])
        except OSError as error:
            if error.errno in {errno.ENOSPC, errno.EDQUOT}:
                raise DiskFull from error
            raise
        else:
            kept[sha256] = Kept(sha256, kind, upload.size or 0)
    return Arrived(tuple(kept.values()), tuple(refused))


def _on_disk(upload: "UploadedFile[bytes]") -> Path:
    if not isinstance(upload, TemporaryUploadedFile):
        raise TypeError("uploads come as files on the media's own disk (FILE_UPLOAD_HANDLERS)")
    return Path(upload.temporary_file_path())


@dataclass(frozen=True)
class Picture:
    """One photo as a page shows it. ``sources`` maps a width in px to the SHA-256 that names the file."""

    id: int
    alt: str
    width: int
    height: int
    sources: tuple[tuple[int, str], ...]

    @property
    def largest(self) -> str:
        return self.sources[-1][1]

    @property
    def smallest(self) -> str:
        return self.sources[0][1]


def picture(photo: Photo, alt: str) -> Picture | None:
    """From a developed photo whose renditions are prefetched; None while there is nothing to show."""
    renditions = sorted(photo.renditions.all(), key=lambda rendition: rendition.edge)
    if not renditions:
        return None
    middle = renditions[len(renditions) // 2]
    widths = {rendition.width: rendition.sha256 for rendition in renditions}
    return Picture(photo.pk, alt, middle.width, middle.height, tuple(sorted(widths.items())))
