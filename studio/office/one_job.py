"""Everything on the page of one job, in a fixed number of questions."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from studio.office import past, waiting
from studio.office.followers import followers_of
from studio.office.forms import WordsForm
from studio.office.letter_lines import held_up, notice_lines, notices_of
from studio.office.names import names_for
from studio.office.rules import Head, head_of
from studio.office.stage_lines import StageLine, lines_of
from studio.office.standing import standing
from studio.office.wording import listed, many, number, sentence, short_day
from studio.workshop import planning
from studio.workshop.models import Confirmation, Job, Photo, PhotoState, Piece, Release, Says
from studio.workshop.photos import Picture, picture
from studio.workshop.planning import Told

FEW = 6


@dataclass(frozen=True)
class PieceLines:
    piece: Piece
    stages: tuple[StageLine, ...]


@dataclass(frozen=True)
class PhotoLine:
    """``sentence`` is what stands with it for the client, empty where nothing does."""

    photo: Photo
    picture: Picture | None
    words: str
    sentence: str
    can_show: bool
    can_keep: bool


def job_page(job: Job, now: datetime) -> dict[str, Any]:
    told = None if job.closed_on else planning.newest()
    pieces = pieces_of(job, told, now)
    photos = list(photos_of(job)[: FEW + 1])
    held = held_up(job)
    rest = notices_of(job).exclude(pk__in=[notice.pk for notice in held])[: FEW + 1]
    notices = [*held, *rest]
    history = list(job.history.select_related("by")[: FEW + 1])
    last = job.confirmations.select_related("by").first()
    return {
        "job": job,
        "now": now,
        "lede": _lede(job, pieces, timezone.localdate(now)),
        "head": _head(job, told, pieces, now) if told else None,
        "pieces": pieces,
        "last": last,
        "van_words": _van_words(job, last, timezone.localdate(now)) if last else "",
        "words_form": WordsForm(initial={"words": last.words if last else "", "version": last.pk if last else 0}),
        "followers": followers_of(job, timezone.localdate(now)),
        "photos": photo_lines(photos[:FEW]),
        "more_photos": len(photos) > FEW,
        "notices": notice_lines(notices[: max(FEW, len(held))], now),
        "more_notices": len(notices) > max(FEW, len(held)),
        "history": past.told(history[:FEW]),
        "more_history": len(history) > FEW,
    }


def _van_words(job: Job, last: Confirmation, today: date) -> str:
    """What the client's page says of the van, and how it comes to say what the lead has decided since."""
    was = short_day(last.van_day, today) if last.van_day else ""
    is_now = short_day(job.van_day, today) if job.van_day else ""
    if was == is_now or job.closed_on:
        return f"Their page shows the van on {was}." if was else ""
    shows = f"Their page still shows the van on {was}." if was else "Their page shows no van."
    return f"{shows} Confirm the words again to {f'show {is_now}' if is_now else 'take it away'}."


def _head(job: Job, told: Told, pieces: Iterable[PieceLines], now: datetime) -> Head:
    lines = [line for piece in pieces for line in piece.stages]
    stuck = {line.stage.pk: line.stuck for line in lines if line.stuck}
    left = any(line.state != "done" for line in lines)
    names = names_for(told, stuck=stuck, only=job.pk)
    return head_of(standing(job, told.jobs.get(job.pk), left=left), names, timezone.localdate(now))


def pieces_of(job: Job, told: Told | None, now: datetime, *, paper: bool = False) -> list[PieceLines]:
    lines = lines_of(job, told, now, paper=paper)
    return [PieceLines(piece, lines.get(piece.pk, ())) for piece in job.pieces.all()]


def _lede(job: Job, pieces: list[PieceLines], today: date) -> str:
    stages = [line for piece in pieces for line in piece.stages]
    done = sum(line.state == "done" for line in stages)
    coming = [
        f"{line.stage} of {piece.piece}" if len(pieces) > 1 else str(line.stage)
        for piece in pieces
        if (line := next((line for line in piece.stages if line.state in {"next", "on the bench"}), None))
    ]
    if job.closed_on:
        first = f"Closed on {short_day(job.closed_on, today)}{_undone(len(stages) - done, len(stages))}."
    elif not stages:
        first = "Nothing is set out yet: add its pieces and the stages they go through."
    elif done == len(stages):
        first = f"All {many(len(stages), 'stage')} are done." if len(stages) > 1 else "Its one stage is done."
    elif not coming and any(line.state == "stuck" for line in stages):
        first = f"{sentence(number(done)) if done else 'None'} of {many(len(stages), 'stage')} done."
    elif not coming:
        first = f"Each stage that is left waits for another. {sentence(number(done)) if done else 'None'} of {many(len(stages), 'stage')} done."
    else:
        rest = f", and {many(len(coming) - 3, 'more piece')} to go on with" if len(coming) > 3 else ""
        first = f"{listed(coming[:3]) if not rest else ', '.join(coming[:3])}{rest} {'is' if len(coming) == 1 else 'are'} next."
        first = f"{sentence(first)} {sentence(number(done)) if done else 'None'} of {many(len(stages), 'stage')} done."
    if stuck := [line.stage for line in stages if line.state == "stuck"]:
        named = [f"{stage} of {stage.piece}" if len(pieces) > 1 else str(stage) for stage in stuck]
        first += f" {sentence(listed(named))} {'is' if len(named) == 1 else 'are'} stuck."
    leaves = "left" if job.van_day and job.van_day < today else "leaves"
    van = f"The van {leaves} on {short_day(job.van_day, today)}." if job.van_day else "It has no van day yet."
    wanted = f" It is wanted on {short_day(job.wanted_day, today)}." if job.wanted_day else ""
    straight = job.release == Release.STRAIGHT
    photos = " Photos go to the client straight." if straight else " Photos go to the client when you have looked."
    return f"{first} {van}{wanted}{photos}" if not job.closed_on else first


def _undone(left: int, stages: int) -> str:
    if not left:
        return ""
    return f", with {number(left)} of {many(stages, 'stage')} not done"


def photos_of(job: Job) -> QuerySet[Photo]:
    return (
        Photo.objects.standing()
        .filter(stage__piece__job=job)
        .select_related("stage__kind", "stage__piece__job", "entry__by")
        .prefetch_related("renditions")
        .order_by("-at", "-pk")
    )


def photo_lines(photos: Iterable[Photo]) -> list[PhotoLine]:
    """From photos of ``photos_of``."""
    return [_photo_line(photo) for photo in photos]


def _photo_line(photo: Photo) -> PhotoLine:
    title = waiting.of_piece(photo.stage)
    developed = photo.state == PhotoState.DEVELOPED
    if photo.state == PhotoState.WAITING:
        where = "It is not developed yet."
    elif not developed:
        where = f"It did not come out. {waiting.why(photo)}"
    elif photo.released_at:
        where = "The client sees it."
    elif not photo.for_client:
        where = "For us only."
    else:
        where = "It waits for your look."
    words = f"{title}, by {photo.entry.by}. {where}"
    can_show = developed and not photo.released_at and photo.entry.says != Says.STUCK  # what is stuck is for us only
    can_keep = developed and (photo.for_client or photo.released_at is not None)
    said = photo.entry.sentence if photo.entry.for_client else ""
    return PhotoLine(photo, picture(photo, title), words, said, can_show, can_keep)
