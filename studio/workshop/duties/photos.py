"""Developing a photo."""

from dataclasses import dataclass
from datetime import datetime

from studio.workshop import imaging, storage
from studio.workshop.actions.notices import lock_piece, settle_notices
from studio.workshop.models import Errand, Photo, PhotoState, Release, Rendition
from studio.workshop.sniff import NotAPhoto


@dataclass(frozen=True)
class Copy:
    edge: int
    sha256: str
    width: int
    height: int
    size_bytes: int


def develop(errand: Errand, now: datetime) -> list[Copy] | NotAPhoto:
    photo = Photo.objects.get(pk=errand.subject)
    try:
        developed = imaging.develop(storage.original_path(photo.original_sha256))
    except NotAPhoto as problem:
        return problem
    return [
        Copy(item.edge, storage.keep_rendition(item.jpeg), item.width, item.height, len(item.jpeg))
        for item in developed
    ]


def keep(errand: Errand, result: list[Copy] | NotAPhoto, now: datetime) -> None:
    photo = Photo.objects.select_related("entry__stage__piece__job", "entry__stage__kind").get(pk=errand.subject)
    lock_piece(photo.stage)  # of two photos that are ready at once, the second sees the first
    row = Photo.objects.filter(pk=photo.pk)
    if isinstance(result, NotAPhoto):
        row.update(state=PhotoState.UNREADABLE, reason=result.reason)
    else:
        for copy in result:
            Rendition.objects.update_or_create(
                photo=photo,
                edge=copy.edge,
                defaults={
                    "sha256": copy.sha256,
                    "width": copy.width,
                    "height": copy.height,
                    "size_bytes": copy.size_bytes,
                },
            )
        row.update(state=PhotoState.DEVELOPED, reason="")
        if photo.for_client and photo.entry.stage.piece.job.release == Release.STRAIGHT:
            row.filter(released_at=None).update(released_at=now)
    settle_notices(photo.entry.stage, now=now)
