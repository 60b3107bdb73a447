"""What a form at the bench brings: once, however often it is sent, and each photo with it."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID, uuid5

from django.utils.translation import gettext_noop as _

from studio.workshop import errands
from studio.workshop.actions.errors import Refused
from studio.workshop.models import Entry, Kind, Person, Photo, Stage
from studio.workshop.photos import Kept


def still_to_make(
    entry_id: UUID, photos: Sequence[Kept], *, stage: Stage, by: Person
) -> tuple[Entry | None, UUID, Sequence[Kept]]:
    """The entry that this form has made already; or None, with the id and the photos of the one to be made.

    A page that a browser brought back may be used for another photo. That photo is not dropped: it makes an entry of its
    own, whose id follows from what was sent, so that this too is made once. Raises Refused for another stage's form.
    """
    first = Entry.objects.filter(pk=entry_id).first()
    if first is None:
        return None, entry_id, photos
    if first.stage_id != stage.pk or first.by_id != by.pk:
        raise Refused(_("This form was used for something else. Open the piece again."))
    have = set(first.photos.values_list("original_sha256", flat=True))
    new = [photo for photo in photos if photo.sha256 not in have]
    if not new:
        return first, entry_id, ()
    following = uuid5(entry_id, " ".join(sorted(photo.sha256 for photo in new)))
    return still_to_make(following, new, stage=stage, by=by)


def keep_photos(entry: Entry, photos: Sequence[Kept], *, now: datetime) -> None:
    """A row for each, and the errand that develops it."""
    for kept in photos:
        photo = Photo.objects.create(
            entry=entry,
            stage=entry.stage,
            original_sha256=kept.sha256,
            original_type=kept.type,
            original_bytes=kept.size_bytes,
            for_client=entry.for_client,
            at=now,
        )
        errands.ask(Kind.DEVELOP_PHOTO, str(photo.pk), due_at=now, now=now)
