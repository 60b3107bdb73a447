"""What is stuck, and what became of it, in sentences."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from studio.office.waiting import of_piece
from studio.office.wording import many, on_or_at, sentence
from studio.workshop.models import Entry, Needs, Photo, PhotoState, Says, Stuck
from studio.workshop.photos import Picture, picture

NEEDS = {
    Needs.HAND: "it needs a hand",
    Needs.MATERIAL: "it needs material",
    Needs.ANSWER: "it needs an answer",
    Needs.BROKE: "it broke",
}


@dataclass(frozen=True)
class Said:
    """One word of those who stand before it."""

    entry: Entry
    pictures: tuple[Picture, ...]
    photos: str  # what became of the photos that cannot be shown


def rows() -> QuerySet[Stuck]:
    """With all that a line names."""
    return Stuck.objects.select_related("stage__kind", "stage__piece__job", "entry__by", "answered_by")


def needs(stuck: Stuck) -> str:
    return NEEDS[Needs(stuck.needs)]


def heading(stuck: Stuck, ended: str) -> str:
    """``Snail 3, lay-up is stuck: it needs material.`` and, once ``ended`` says how that ended, without the need."""
    return f"{of_piece(stuck.stage)} was stuck." if ended else f"{of_piece(stuck.stage)} is stuck: {needs(stuck)}."


def who_said(stuck: Stuck, now: datetime) -> str:
    return f"{stuck.entry.by} said {on_or_at(stuck.at, now)} that {needs(stuck)}."


def stands(stuck: Stuck) -> bool:
    """As ``Stuck.objects.standing`` has it, of a row that is here."""
    return stuck.answered_at is None and stuck.stage.done_at is None and stuck.stage.piece.job.closed_on is None


def ended(stuck: Stuck, now: datetime) -> str:
    """What became of it; empty while it stands."""
    if stuck.entry.taken_back_at:
        return f"{stuck.answered_by} took it back {on_or_at(stuck.entry.taken_back_at, now)}."
    if stuck.answered_at is None:
        return "" if stands(stuck) else "Its job is closed, so it waits for nobody."
    at = on_or_at(stuck.answered_at, now)
    if stuck.answer:
        return f"{stuck.answered_by} answered {at}: “{stuck.answer}”"
    if stuck.stage.done_at == stuck.answered_at:
        return f"{stuck.answered_by} finished it {at}."
    if stuck.answered_by_id == stuck.entry.by_id:
        return f"{stuck.answered_by} carried on {at}."
    return f"{stuck.answered_by} said {at} that it goes on."


def said(stuck: Stuck) -> list[Said]:
    """What was said of it, the first word first, with its photos: of those who added to it, too."""
    entries = Entry.objects.filter(stage=stuck.stage_id, says=Says.STUCK, at__gte=stuck.at)
    if stuck.answered_at:
        entries = entries.filter(at__lte=stuck.answered_at)
    told = entries.select_related("by").prefetch_related("photos__renditions").order_by("at", "id")
    return [_said(stuck, entry) for entry in told if entry.pk == stuck.entry_id or not entry.taken_back_at]


def _said(stuck: Stuck, entry: Entry) -> Said:
    photos = list(entry.photos.all())
    pictures = tuple(found for photo in photos if (found := picture(photo, of_piece(stuck.stage))))
    return Said(entry, pictures, _not_shown(photos))


def _not_shown(photos: list[Photo]) -> str:
    waiting = sum(photo.state == PhotoState.WAITING for photo in photos)
    lost = sum(photo.state == PhotoState.UNREADABLE for photo in photos)
    parts = [f"{many(waiting, 'photo')} {'is' if waiting == 1 else 'are'} being developed."] if waiting else []
    parts += [f"{many(lost, 'photo')} did not come out."] if lost else []
    return " ".join(map(sentence, parts))
