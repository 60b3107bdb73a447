"""The lead looks at photos: shows them to the client, or keeps them for the studio. Either can be changed later."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import F

from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused, TooLate
from studio.workshop.actions.history import note
from studio.workshop.actions.notices import hold_notices, let_go, withdraw_notices
from studio.workshop.models import Entry, Notice, Person, Photo, PhotoState, Says, Stage


@transaction.atomic
def release_photos(photos: Sequence[Photo], *, sentence: str | None = None, by: Person, now: datetime) -> int:
    """Puts photos on the client's page, and lets the letter of their stage go. Returns how many photos are newly there.

    ``sentence``, where given, replaces what was written at the bench, and is the client's to read. Without it, what was
    written for us only stays with us. Releasing twice is the same as once.
    """
    released = 0
    for photo in photos:
        if photo.state != PhotoState.DEVELOPED or photo.entry.taken_back_at:
            raise Refused("One of these photos is not there any more. Look at the page again.")
        if photo.entry.says == Says.STUCK:
            raise Refused("That came with something stuck, so it stays with us.")
        changed = Photo.objects.filter(pk=photo.pk, state=PhotoState.DEVELOPED, released_at=None).update(
            released_at=now, released_by=by, for_client=True
        )
        if changed:
            note("released photo", photo, by=by, now=now, job=photo.stage.piece.job)
        released += changed
    for entry in {photo.entry_id: photo.entry for photo in photos}.values():
        if sentence is not None:
            Entry.objects.filter(pk=entry.pk).update(sentence=sentence, for_client=True, version=F("version") + 1)
        _release_words(entry, now)
    for stage in _stages(photos):
        let_go(stage, now=now)
    return released


def _release_words(entry: Entry, now: datetime) -> None:
    Entry.objects.filter(pk=entry.pk, released_at=None).update(released_at=now)


def _stages(photos: Sequence[Photo]) -> Sequence[Stage]:
    return list({photo.stage_id: photo.stage for photo in photos}.values())


@transaction.atomic
def keep_for_us(photos: Sequence[Photo], *, by: Person, now: datetime) -> None:
    """Takes photos off the client's page, or never puts them there. What a letter already shows cannot be undone.

    A letter that would now leave without any picture waits for the lead's word instead.
    """
    for photo in photos:
        if Photo.objects.filter(pk=photo.pk).update(for_client=False, released_at=None, released_by=None):
            note("kept photo for us", photo, by=by, now=now, job=photo.stage.piece.job)
    _hold_without_photo(photos, now)


@transaction.atomic
def look_again(photos: Sequence[Photo], *, by: Person, now: datetime) -> None:
    """Undoes showing and keeping: the photos wait for the lead's look again, and so do words and letters with them."""
    for photo in photos:
        if Photo.objects.filter(pk=photo.pk).update(for_client=True, released_at=None, released_by=None):
            note("put photo back to look at", photo, by=by, now=now, job=photo.stage.piece.job)
    for entry_id in {photo.entry_id for photo in photos}:
        if not Photo.objects.shown().filter(entry=entry_id).exists():
            Entry.objects.filter(pk=entry_id).update(released_at=None)
    _hold_without_photo(photos, now)


def _hold_without_photo(photos: Sequence[Photo], now: datetime) -> None:
    for stage in _stages(photos):
        if not Photo.objects.shown().filter(stage=stage).exists():
            hold_notices(stage, now=now)


def change_words(entry: Entry, *, sentence: str, version: int, by: Person, now: datetime) -> Entry:
    """Changes what was written at the bench, wherever it is read from now on. A letter that has gone stays as it is."""
    return change(entry, {"sentence": sentence}, version=version, by=by, now=now, job=entry.stage.piece.job)


@transaction.atomic
def send_word(entry: Entry, *, by: Person, now: datetime) -> int:
    """Lets the letter of a stage go without waiting for a photo. Returns how many letters will leave."""
    if entry.taken_back_at:
        raise Refused("It was taken back in the meantime. There is nothing to tell.")
    _release_words(entry, now)
    note("sent word", entry.stage, by=by, now=now, job=entry.stage.piece.job)
    return let_go(entry.stage, now=now)


@transaction.atomic
def say_nothing(entry: Entry, *, by: Person, now: datetime) -> int:
    """Takes back the letters of a stage that have not left. Returns how many had left already."""
    note("said nothing", entry.stage, by=by, now=now, job=entry.stage.piece.job)
    return withdraw_notices(entry.notices.all(), now=now)


@transaction.atomic
def take_back_letter(notice: Notice, *, by: Person, now: datetime) -> None:
    """This one contact is not told. Raises TooLate once the letter is leaving; taking back twice is the same as once."""
    if withdraw_notices(Notice.objects.filter(pk=notice.pk), now=now):
        raise TooLate("That letter has left already. It cannot be taken back.")
    note("took back letter", notice.stage, by=by, now=now, job=notice.job)
