"""What waits, failed or is unknown, in sentences. A handful of questions, however much there is."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Count, Exists, Min, OuterRef, QuerySet

from studio.office.wording import listed, many, on_or_at, sentence, when
from studio.workshop.models import (
    STANDING,
    Entry,
    Errand,
    ErrandState,
    Kind,
    Notice,
    NoticeState,
    Person,
    Photo,
    Stage,
    Stuck,
)
from studio.workshop.sniff import SENTENCES, Reason

MOST_LINES = 50
LATE_AFTER = timedelta(minutes=1)
LOOK_BACK = timedelta(days=14)


@dataclass(frozen=True)
class Line:
    """Sentences; ``errand`` where it can be tried again, ``job`` where it can be looked at."""

    words: str
    errand: UUID | None = None
    job: int | None = None
    unknown: bool = False

    @property
    def again(self) -> str:
        return "Send it again" if self.unknown else "Try again"


@dataclass(frozen=True)
class Gone:
    """Something that was taken back after its letter had gone."""

    words: str
    entry: UUID
    job: int


def _standing() -> QuerySet[Errand]:
    return Errand.objects.filter(state__in=STANDING).exclude(kind=Kind.TEST_LETTER)


def underway(now: datetime) -> str:
    """What will happen by itself: one sentence for letters and one for photos, counted by the database. The plan is drawn
    within seconds, so nothing is said of it unless it is late."""
    found = _standing().values("kind").annotate(count=Count("pk"), first=Min("due_at")).order_by("kind")
    groups = {group["kind"]: (group["count"], group["first"]) for group in found}
    said = []
    if letters := [groups[kind] for kind in TO_SOMEBODY if kind in groups]:
        count, first = sum(count for count, _ in letters), min(first for _, first in letters)
        waits = f"{many(count, 'letter')} {'waits' if count == 1 else 'wait'}"
        if first < now - LATE_AFTER:
            said.append(sentence(f"{waits}; the first should have left {on_or_at(first, now)}."))
        else:
            it = "it" if count == 1 else "the next"
            said.append(sentence(f"{waits}; {it} leaves {on_or_at(max(first, now), now)}."))
    if Kind.DEVELOP_PHOTO in groups:
        count, first = groups[Kind.DEVELOP_PHOTO]
        late = f"; the first has waited since {when(first, now)}" if first < now - LATE_AFTER else ""
        said.append(sentence(f"{many(count, 'photo')} {'is' if count == 1 else 'are'} being developed{late}."))
    _, asked = groups.get(Kind.REFRESH_PLAN, (0, now))
    if asked < now - LATE_AFTER:
        said.append(f"The plan has waited since {when(asked, now)} to be drawn anew.")
    return " ".join(said)


def struggling(now: datetime) -> list[Line]:
    """What came to nothing at least once, and will be tried again by itself."""
    errands = _standing().filter(strikes__gt=0).exclude(error="").order_by("due_at")
    return [
        Line(f"{_name(errand, named)} will be tried again {on_or_at(errand.due_at, now)}. {errand.error}", job=job)
        for errand, named, job in _named(errands[:MOST_LINES])
    ]


def failed(now: datetime) -> list[Line]:
    """What will not happen unless somebody asks again, each with its reason."""
    ended = Errand.objects.filter(state__in=[ErrandState.FAILED, ErrandState.UNKNOWN])
    errands = ended.exclude(kind=Kind.TEST_LETTER).order_by("due_at", "pk")
    lines = []
    for errand, named, job in _named(errands[:MOST_LINES]):
        what = _name(errand, named)
        if errand.state == ErrandState.UNKNOWN and errand.kind in TO_SOMEBODY:
            words = f"{what} was {perhaps_sent(errand, now)}"
        elif errand.state == ErrandState.UNKNOWN:
            words = f"Nobody knows whether this was done: {what[:1].lower()}{what[1:]}. Look first, then try again."
        else:
            words = f"{what} {_COULD_NOT[Kind(errand.kind)]}: {errand.error or 'no reason is known.'}"
        lines.append(Line(words, errand.pk, job, errand.state == ErrandState.UNKNOWN))
    if len(lines) == MOST_LINES and (more := errands.count() - MOST_LINES):
        lines.append(Line(f"And {more} more. They show once these are dealt with."))
    return lines


def perhaps_sent(errand: Errand, now: datetime) -> str:
    """Goes on from "… was". What a person must know before it is sent once more."""
    sent = f"probably sent {on_or_at(errand.claimed_at, now)}" if errand.claimed_at else "perhaps sent"
    return f"{sent}. {errand.error} Ask whether it came, or send it again."


def ended(failed: int, unknown: int) -> list[str]:
    """What does not go on by itself, in the parts of a sentence."""
    said = [f"{many(failed, 'thing')} failed"] if failed else []
    return said + ([f"{many(unknown, 'letter')} {'was' if unknown == 1 else 'were'} perhaps sent"] if unknown else [])


TO_SOMEBODY = (Kind.SEND_LETTER, Kind.TELL_LEAD, Kind.INVITE)
_COULD_NOT = {
    Kind.DEVELOP_PHOTO: "could not be developed",
    Kind.SEND_LETTER: "could not be sent",
    Kind.TELL_LEAD: "could not be sent",
    Kind.INVITE: "could not be sent",
    Kind.REFRESH_PLAN: "could not be drawn anew",
    Kind.TIDY_FILES: "could not be done",
}


def _name(errand: Errand, named: str) -> str:
    return {
        Kind.DEVELOP_PHOTO: f"A photo{named and ' of ' + named}",
        Kind.SEND_LETTER: f"A letter{named}",
        Kind.TELL_LEAD: f"A letter{named}",
        Kind.INVITE: f"The invitation{named}",
        Kind.REFRESH_PLAN: "The plan",
        Kind.TIDY_FILES: "Throwing away files that nothing needs",
    }[Kind(errand.kind)]


def _named(errands: Iterable[Errand]) -> list[tuple[Errand, str, int | None]]:
    """Each errand with the name of its subject and the job that it belongs to."""
    rows = list(errands)
    keys = {kind: [errand.subject for errand in rows if errand.kind == kind] for kind in Kind}
    photos = Photo.objects.select_related("stage__kind", "stage__piece").in_bulk(keys[Kind.DEVELOP_PHOTO])
    notices = Notice.objects.select_related("contact", "stage__kind", "stage__piece").in_bulk(keys[Kind.SEND_LETTER])
    told = [subject.partition("-") for subject in keys[Kind.TELL_LEAD]]
    stuck = Stuck.objects.select_related("stage__kind", "stage__piece").in_bulk([int(pk) for pk, _, _ in told])
    people = Person.objects.in_bulk([int(pk) for _, _, pk in told] + [int(pk) for pk in keys[Kind.INVITE]])
    found: list[tuple[Errand, str, int | None]] = []
    for errand in rows:
        photo = photos.get(int(errand.subject)) if errand.kind == Kind.DEVELOP_PHOTO else None
        notice = notices.get(int(errand.subject)) if errand.kind == Kind.SEND_LETTER else None
        if errand.kind == Kind.TELL_LEAD:
            about, lead = (int(pk) for pk in errand.subject.split("-"))
            stage = stuck[about].stage
            found.append((errand, f" to {people[lead]} about {of_piece(stage)}, stuck", stage.piece.job_id))
        elif errand.kind == Kind.INVITE:
            found.append((errand, f" of {people[int(errand.subject)]}", None))
        elif photo:
            found.append((errand, of_piece(photo.stage), photo.stage.piece.job_id))
        elif notice:
            named = f" to {notice.contact} about {of_piece(notice.stage)}"
            found.append((errand, named, notice.job_id))
        else:
            found.append((errand, "", None))
    return found


def of_piece(stage: Stage) -> str:
    return f"{stage.piece}, {stage}"


def gone_too_late() -> QuerySet[Entry]:
    """What was taken back although its letter had gone, until the lead says that they have seen it."""
    gone = Notice.objects.filter(entry=OuterRef("pk"), state__in=[NoticeState.LEAVING, NoticeState.TOLD])
    return Entry.objects.filter(Exists(gone), taken_back_at__isnull=False, lead_saw_at=None)


def taken_back_too_late(now: datetime) -> list[Gone]:
    entries = (
        gone_too_late()
        .select_related("stage__kind", "stage__piece", "taken_back_by")
        .prefetch_related("notices__contact", "notices__letter")
        .order_by("taken_back_at", "pk")
    )
    lines = []
    for entry in entries[:MOST_LINES]:
        at = on_or_at(entry.taken_back_at or now, now)
        words = f"{entry.taken_back_by} took back {entry.stage} of {entry.stage.piece} {at}. Its letter had gone to {listed(_told(entry, now))}."
        lines.append(Gone(words, entry.pk, entry.stage.piece.job_id))
    return lines


def _told(entry: Entry, now: datetime) -> list[str]:
    """Those whom the letter about an entry has left for, each with its hour."""
    return [
        f"{notice.contact} {on_or_at(notice.letter.sent_at, now)}" if hasattr(notice, "letter") else str(notice.contact)
        for notice in entry.notices.all()
        if notice.state in {NoticeState.LEAVING, NoticeState.TOLD}
    ]


def what_taking_back_means(entry: Entry, now: datetime) -> str:
    """Whether anybody has been written to. The entry comes with its notices, their contacts and letters."""
    said = []
    if told := _told(entry, now):
        said.append(f"Its letter has gone to {listed(told)}; nothing is sent by itself.")
    here = [str(notice.contact) for notice in entry.notices.all() if notice.state in _NOT_GONE]
    if here:
        said.append(f"The letter to {listed(here)} has not left; it will not, if this is taken back.")
    return " ".join(said) or "No letter has gone."


_NOT_GONE = {NoticeState.OWED, NoticeState.GOING}


def not_come_out() -> QuerySet[Photo]:
    return Photo.objects.spoilt().filter(stage__piece__job__closed_on=None)


def spoilt(now: datetime) -> list[Line]:
    """Photos of the last two weeks."""
    recent = not_come_out().filter(at__gte=now - LOOK_BACK)
    photos = recent.select_related("stage__kind", "stage__piece", "entry__by").order_by("-at", "-pk")
    return [
        Line(
            f"{of_piece(photo.stage)}: {photo.entry.by}'s photo of {when(photo.at, now)} did not come out. {why(photo)}",
            job=photo.stage.piece.job_id,
        )
        for photo in photos[:MOST_LINES]
    ]


def why(photo: Photo) -> str:
    """The sentence for the reason that a photo did not come out."""
    return SENTENCES[Reason(photo.reason)] if photo.reason in set(Reason) else ""
