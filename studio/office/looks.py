"""Photos as the lead looks at them: grouped by what was said at the bench, so that one tap shows all of it."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from studio.office.wording import number
from studio.workshop.models import Entry, Notice, NoticeState, Photo, PhotoState
from studio.workshop.photos import Picture, picture


@dataclass(frozen=True)
class Look:
    """One entry with those of its photos that wait for the lead."""

    entry: Entry
    pictures: tuple[Picture, ...]
    sentence: str

    @property
    def all_of_them(self) -> str:
        """How a button names what it acts on, empty for one photo."""
        count = len(self.pictures)
        return "" if count < 2 else "both" if count == 2 else f"all {number(count)}"

    @property
    def title(self) -> str:
        return f"{self.entry.stage.piece}, {self.entry.stage}"


def _waiting() -> QuerySet[Photo]:
    return Photo.objects.to_look_at().prefetch_related("renditions").order_by("id")


def to_look_at() -> QuerySet[Entry]:
    """Entries of which some photo waits, with all that ``look`` needs, in a fixed number of questions."""
    return (
        Entry.objects.filter(Exists(Photo.objects.to_look_at().filter(entry=OuterRef("pk"))))
        .select_related("stage__kind", "stage__piece__job__client", "by")
        .prefetch_related(Prefetch("photos", _waiting(), to_attr="waiting"))
    )


def look(entry: Entry, typed: str | None = None) -> Look:
    """From an entry of ``to_look_at``; what was typed in its form, and not kept yet, stays there."""
    photos: Iterable[Photo] = getattr(entry, "waiting", ())
    title = f"{entry.stage.piece}, {entry.stage}"
    pictures = tuple(found for photo in photos if (found := picture(photo, title)))
    return Look(entry, pictures, entry.sentence if typed is None else typed)


def first(few: int) -> list[Look]:
    return [look(entry) for entry in to_look_at().order_by("at", "pk")[:few]]


def done_without_photo() -> QuerySet[Entry]:
    """Contacts are owed word of these, and no photo is on its way that would let it go."""
    mine = OuterRef("pk")
    owed = Notice.objects.filter(entry=mine, state=NoticeState.OWED)
    coming = Photo.objects.filter(entry=mine, for_client=True, state=PhotoState.WAITING)
    return (
        Entry.objects.filter(
            Exists(owed),
            ~Exists(Photo.objects.to_look_at().filter(entry=mine)),
            ~Exists(coming),
            taken_back_at=None,
            stage__piece__job__closed_on=None,
        )
        .select_related("stage__kind", "stage__piece__job__client", "by")
        .order_by("at", "pk")
    )
