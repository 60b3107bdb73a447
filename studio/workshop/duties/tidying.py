"""Throwing away what nothing needs any more."""

from datetime import datetime, timedelta

from django.contrib.sessions.models import Session

from studio.workshop import outbox, storage
from studio.workshop.models import Errand, ErrandState, Letter, Photo, Rendition

KEEP_DONE_FOR = timedelta(days=30)
UNNAMED_FILES_GO_AFTER = timedelta(hours=24)


def tidy(errand: Errand, now: datetime) -> None:
    """Files that no row names go after a day; a row never names a missing file."""
    young = (now - UNNAMED_FILES_GO_AFTER).timestamp()
    named = {
        storage.ORIGINALS: set(Photo.objects.values_list("original_sha256", flat=True)),
        storage.RENDITIONS: set(Rendition.objects.values_list("sha256", flat=True)),
    }
    for shelf, names in named.items():
        for path in storage.shelved(shelf):
            if path.name not in names and path.stat().st_mtime < young:
                path.unlink(missing_ok=True)
    # A letter that is on its way, or of which nobody knows whether it left, is named by its errand only.
    letters = {str(key) for rows in (Letter, Errand) for key in rows.objects.values_list("pk", flat=True)}
    for path in outbox.files():
        if path.stem not in letters and path.stat().st_mtime < young:
            path.unlink(missing_ok=True)
    for path in storage.left_over(young):
        path.unlink(missing_ok=True)


def keep(errand: Errand, result: None, now: datetime) -> None:
    Errand.objects.filter(state=ErrandState.DONE, done_at__lt=now - KEEP_DONE_FOR).delete()
    Session.objects.filter(expire_date__lt=now).delete()
