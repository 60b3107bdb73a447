"""History as sentences. A row of history holds ids only, so the names are looked up here, one question for each noun."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Model, QuerySet

from studio.workshop.models import Confirmation, Entry, History, Job, Link, Person, Photo, Piece, Stage


@dataclass(frozen=True)
class PastLine:
    at: datetime
    words: str


_NOUNS: dict[str, QuerySet[Model]] = {
    "job": Job.objects.all(),
    "piece": Piece.objects.all(),
    "stage": Stage.objects.select_related("kind", "piece"),
    "confirmation": Confirmation.objects.all(),
    "link": Link.objects.select_related("contact"),
    "photo": Photo.objects.select_related("stage__kind", "stage__piece"),
    "entry": Entry.objects.select_related("stage__kind", "stage__piece"),
    "person": Person.objects.all(),
}
_VERBS = {
    "logged done": "logged {} as done",
    "added photo": "added a photo of {}",
    "took back": "took back {}",
    "said stuck": "said that {} is stuck",
    "added to what is stuck": "said more about what is stuck at {}",
    "answered stuck": "answered what was stuck at {}",
    "carried on": "went on with {}, which was stuck",
    "imported public holidays": "put the public holidays into the closed days of {}",
    "set password": "set the password of {}",
    "invited": "made a way in for {}",
    "sent invitation": "had the way in sent to {}",
    "took back invitation": "took back the way in of {}",
    "accepted invitation": "chose a password and came in",
    "ended sessions": "signed {} out everywhere",
    "let look at the record": "let {} look at the raw record",
    "released photo": "showed the client {}",
    "kept photo for us": "kept for us {}",
    "put photo back to look at": "put {} back to look at again",
    "sent word": "let the letters about {} go",
    "said nothing": "said nothing about {}",
    "saw taken back": "saw that {} was taken back",
    "took back letter": "took back a letter about {}",
    "gave link": "gave a link to {}",
    "changed link": "said until when the link of {} opens",
    "revoked link": "revoked the link of {}",
    "stopped letters": "asked for no more letters",
    "wished for letters": "asked for letters again",
    "confirmed": "wrote to the client: {}",
}


_BY_CONTACT = {"stopped letters", "wished for letters"}  # with the link's own word, not signed in


def told(lines: Iterable[History]) -> list[PastLine]:
    """The rows come with ``by``."""
    rows = list(lines)
    wanted: dict[str, set[str]] = {noun: set() for noun in _NOUNS}
    for row in rows:
        noun, _, key = row.subject.rpartition(" ")
        wanted.get(noun, set()).add(key)
    named = {
        noun: {str(key): row for key, row in rows_of.in_bulk(wanted[noun]).items()}
        for noun, rows_of in _NOUNS.items()
        if wanted[noun]
    }
    found = []
    for row in rows:
        noun, _, key = row.subject.rpartition(" ")
        thing = _name(noun, named.get(noun, {}).get(key))
        words = _VERBS.get(row.verb, row.verb + " {}").format(thing)
        who = thing if row.verb in _BY_CONTACT else str(row.by or "The studio")
        found.append(PastLine(row.at, f"{who} {words}."))
    return found


def _name(noun: str, row: Model | None) -> str:
    match row:
        case None:
            return f"a {noun} that is gone"
        case Job():
            return "the job"
        case Piece() | Person():
            return row.name
        case Stage():
            return f"{row} of {row.piece}"
        case Photo():
            return f"a photo of {row.stage} of {row.stage.piece}"
        case Entry():
            return f"the words about {row.stage} of {row.stage.piece}"
        case Link():
            return row.contact.name
        case Confirmation():
            return f"“{row.words.rstrip('.')}”"
    return noun
