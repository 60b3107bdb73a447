"""What a client's page shows, as frozen values. A template that gets only these cannot reach the shop's own notes."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from django.utils import timezone

from clientportal.strip import Strip, strip
from studio.workshop.links import stop_path_for
from studio.workshop.models import Confirmation, Entry, Job, Link, Person, Photo, Role, Says, Stage, Studio
from studio.workshop.photos import Picture, picture


@dataclass(frozen=True)
class Words:
    """The lead's last word. ``at`` is an instant; ``year`` is None in the year in which it was said."""

    text: str
    by: str
    at: datetime
    year: int | None


@dataclass(frozen=True)
class PhotoView:
    picture: Picture
    day: date
    sentence: str  # "" where the words beside it say it already

    @property
    def tall(self) -> bool:
        return self.picture.height > self.picture.width


@dataclass(frozen=True)
class Newest:
    piece: str
    stage: str
    photo: PhotoView


@dataclass(frozen=True)
class StageLine:
    """One ply. ``state`` is "done", "half" (on the bench) or "come"; the day is the shop's."""

    name: str
    state: str
    done_on: date | None
    sentence: str
    photos: tuple[PhotoView, ...]
    newest_above: bool  # its newest photo is the newest of all, and stands at the top of the page


@dataclass(frozen=True)
class PiecePage:
    id: int
    name: str
    stages: tuple[StageLine, ...]  # newest on top

    @property
    def done(self) -> int:
        return sum(line.state == "done" for line in self.stages)


@dataclass(frozen=True)
class Asked:
    name: str
    email: str


@dataclass(frozen=True)
class JobPage:
    studio: str
    demo: bool
    today: date
    contact: str
    client: str
    job: str
    words: Words | None
    strip: Strip | None
    newest: Newest | None
    pieces: tuple[PiecePage, ...]
    ask: Asked | None
    closed_on: date | None
    expires_on: date | None
    letters: str  # where letters about the job are ended, or asked for again; empty without an e-mail address
    letters_stopped: bool


def job_page(link: Link, today: date) -> JobPage:
    """In a fixed number of queries, however much there is to show. Days are those of the current time zone."""
    job, studio = link.job, Studio.objects.first()
    said = (
        Confirmation.objects.filter(job=job)
        .select_related("by")
        .only("words", "van_day", "at", "by__name", "by__email", "by__is_active")
        .first()
    )
    ask = said.by if said and said.by.is_active else _some_lead()
    pieces, newest, begun = _built_up(job)
    return JobPage(
        studio=studio.name if studio else "",
        demo=bool(studio and studio.demo),
        today=today,
        contact=link.contact.name,
        client=job.client.name,
        job=job.name,
        words=_words(said, today) if said else None,
        strip=_strip(said, begun, today) if said and not job.closed_on else None,
        newest=newest,
        pieces=pieces,
        ask=Asked(ask.name, ask.email) if ask else None,
        closed_on=job.closed_on,
        expires_on=link.expires_on,
        letters=stop_path_for(link) if link.contact.email else "",
        letters_stopped=link.letters_stopped_at is not None,
    )


def _some_lead() -> Person | None:
    return Person.objects.filter(role=Role.LEAD, is_active=True).order_by("pk").only("name", "email").first()


def _words(said: Confirmation, today: date) -> Words:
    year = timezone.localdate(said.at).year
    return Words(said.words, said.by.name, said.at, None if year == today.year else year)


def _strip(said: Confirmation, begun: date | None, today: date) -> Strip | None:
    """From the first thing that was done, or said, to the van as it was last confirmed; none once that day is over."""
    first = min(filter(None, (begun, timezone.localdate(said.at))))
    return strip(first, today, said.van_day) if said.van_day and first <= today <= said.van_day else None


def _built_up(job: Job) -> tuple[tuple[PiecePage, ...], Newest | None, date | None]:
    """The pieces, the newest photo, and the day of the first entry."""
    rows = Stage.objects.filter(piece__job=job).select_related("kind", "piece")
    stages = {stage.pk: stage for stage in rows.order_by("piece__position", "piece_id", "-position", "-id")}
    entries: defaultdict[int, list[Entry]] = defaultdict(list)
    for entry in Entry.objects.filter(stage__in=stages, taken_back_at=None).exclude(says=Says.STUCK):
        entries[entry.stage_id].append(entry)
    photos: defaultdict[int, list[Photo]] = defaultdict(list)
    last = None
    for photo in Photo.objects.shown().filter(stage__in=stages).prefetch_related("renditions"):
        photos[photo.stage_id].append(photo)
        last = photo
    newest = None
    pieces = []
    for piece, of_piece in groupby(stages.values(), key=lambda stage: stage.piece):
        lines = []
        for stage in of_piece:
            told = _Told(stage, entries[stage.pk])
            if last and last.stage_id == stage.pk:
                newest = Newest(piece.name, str(stage), told.view(last, told.by_entry[last.entry_id]))
            lines.append(told.line(photos[stage.pk], last))
        pieces.append(PiecePage(piece.pk, piece.name, tuple(lines)))
    begun = min((entry.at for told in entries.values() for entry in told), default=None)
    return tuple(pieces), newest, timezone.localdate(begun) if begun else None


class _Told:
    """A stage and what was said about it."""

    def __init__(self, stage: Stage, entries: Sequence[Entry]) -> None:
        """``entries`` are those that stand, oldest first."""
        self.stage = stage
        self.by_entry = {entry.pk: entry.words_for_client(stage.kind) for entry in entries}
        done = [entry for entry in entries if entry.says == Says.DONE]
        leading = (done or list(entries))[-1:]
        self.sentence = self.by_entry[leading[0].pk] if leading else ""
        self.state = "done" if stage.done_at else "half" if entries else "come"

    def view(self, photo: Photo, sentence: str) -> PhotoView:
        shown = picture(photo, f"{self.stage.piece}, {self.stage}")
        if shown is None:
            raise LookupError(f"{photo} is developed and has no renditions")
        return PhotoView(shown, timezone.localdate(photo.at), sentence)

    def line(self, photos: Sequence[Photo], above: Photo | None) -> StageLine:
        """``photos`` oldest first. Each sentence stands once, the stage's own above its photos."""
        said = {"", self.sentence}
        views = []
        for photo in reversed(photos):
            sentence = self.by_entry[photo.entry_id]
            if photo != above:
                views.append(self.view(photo, "" if sentence in said else sentence))
                said.add(sentence)
        return StageLine(
            name=str(self.stage),
            state=self.state,
            done_on=timezone.localdate(self.stage.done_at) if self.stage.done_at else None,
            sentence=self.sentence,
            photos=tuple(views),
            newest_above=above in photos,
        )
