"""Where each letter stands, in sentences."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from studio.office.waiting import of_piece, perhaps_sent
from studio.office.wording import on_or_at
from studio.workshop.models import Errand, ErrandState, Job, Kind, Letter, LetterState, Notice, NoticeState

_ON_ITS_WAY = (NoticeState.GOING, NoticeState.LEAVING)


@dataclass(frozen=True)
class NoticeLine:
    """``errand`` where a person must say what becomes of it, ``again`` what its button then says."""

    notice: Notice
    words: str
    errand: UUID | None = None
    again: str = ""

    @property
    def refused(self) -> bool:
        return self.errand is not None and self.again == "Try again"

    @property
    def can_take_back(self) -> bool:
        return self.notice.state in {NoticeState.OWED, NoticeState.GOING}


def notices_of(job: Job) -> QuerySet[Notice]:
    rows = job.notices.exclude(state=NoticeState.WITHDRAWN).order_by("-at", "-pk")
    return rows.select_related("contact", "stage__kind", "stage__piece", "letter")


def held_up(job: Job) -> list[Notice]:
    """Those that do not leave unless a person says so."""
    ended = Errand.objects.filter(state__in=[ErrandState.FAILED, ErrandState.UNKNOWN], kind=Kind.SEND_LETTER)
    subjects = list(ended.values_list("subject", flat=True))  # most of the time none, of any job
    here = {str(notice.pk): notice for notice in notices_of(job).filter(pk__in=subjects)} if subjects else {}
    return [here[key] for key in subjects if key in here and here[key].state in _ON_ITS_WAY]


def notice_lines(notices: Sequence[Notice], now: datetime) -> list[NoticeLine]:
    troubles = _troubles(notices)
    return [notice_line(notice, now, troubles.get(notice.pk)) for notice in notices]


def notice_line(notice: Notice, now: datetime, trouble: Errand | None) -> NoticeLine:
    words = _trouble_line(notice, trouble, now) if trouble else told_line(notice, now)
    if trouble is None or trouble.state == ErrandState.WAITING:
        return NoticeLine(notice, words)
    return NoticeLine(
        notice, words, trouble.pk, "Send it again" if trouble.state == ErrandState.UNKNOWN else "Try again"
    )


def trouble_of(notice: Notice) -> Errand | None:
    return _troubles([notice]).get(notice.pk)


def _troubles(notices: Iterable[Notice]) -> dict[int, Errand]:
    """What keeps those that are on their way, by the notice's key."""
    keys = [str(notice.pk) for notice in notices if notice.state in _ON_ITS_WAY]
    ended = Q(state__in=[ErrandState.FAILED, ErrandState.UNKNOWN])
    again = Q(state=ErrandState.WAITING) & ~Q(error="")
    errands = Errand.objects.filter(ended | again, kind=Kind.SEND_LETTER, subject__in=keys) if keys else ()
    return {int(errand.subject): errand for errand in errands}


def _trouble_line(notice: Notice, errand: Errand, now: datetime) -> str:
    about = f"{notice.stage} of {notice.stage.piece} is done"
    match ErrandState(errand.state):
        case ErrandState.FAILED:
            return f"{notice.contact} was not told that {about}. {errand.error}"
        case ErrandState.UNKNOWN:
            return f"{notice.contact}'s letter that {about} was {perhaps_sent(errand, now)}"
    return f"{notice.contact}'s letter is tried again {on_or_at(errand.due_at, now)}: {about}. {errand.error}"


def told_line(notice: Notice, now: datetime) -> str:
    """Where word to a contact stands. The notice comes with its contact, stage, piece and letter."""
    about = f"{notice.stage} of {notice.stage.piece} is done"
    match NoticeState(notice.state):
        case NoticeState.OWED:
            return f"{notice.contact} is owed word that {about}."
        case NoticeState.GOING:
            left = on_or_at(notice.leaves_at, now) if notice.leaves_at else "soon"
            return f"{notice.contact}'s letter leaves {left}: {about}."
        case NoticeState.LEAVING:
            return f"{notice.contact}'s letter is leaving now: {about}."
        case NoticeState.WITHDRAWN:
            return f"{notice.contact} was not told that {about}: the letter was taken back."
    if not hasattr(notice, "letter"):
        return f"{notice.contact} was told that {about}."
    if notice.letter.state == LetterState.UNKNOWN:
        return f"Nobody knows whether {notice.contact} was told {on_or_at(notice.letter.sent_at, now)}: {about}."
    return f"{notice.contact} was told {on_or_at(notice.letter.sent_at, now)}: {about}."


def letter_line(letter: Letter, now: datetime) -> str:
    """Who was told what: a contact that a stage is done, or a lead that one is stuck. It comes with what it names."""
    if letter.notice:
        letter.notice.letter = letter  # the same row, so that its line asks for nothing more
        return told_line(letter.notice, now)
    if not letter.stuck:
        raise LookupError(f"{letter} is about nothing")
    at, about = on_or_at(letter.sent_at, now), f"{of_piece(letter.stuck.stage)} is stuck"
    if letter.state == LetterState.UNKNOWN:
        return f"Nobody knows whether {letter.person} was told {at}: {about}."
    return f"{letter.person} was told {at}: {about}."
