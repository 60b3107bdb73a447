"""The sheet of one job that hangs on the wall: its pieces, the order of their stages, and a box to tick for each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.dateformat import format as written

from studio.office.one_job import PieceLines, photos_of, pieces_of
from studio.office.wording import short_day
from studio.workshop import planning
from studio.workshop.models import Job, PhotoState
from studio.workshop.photos import Picture, picture


@dataclass(frozen=True)
class Wall:
    """``van`` and ``wanted`` are empty where nobody has named a day, ``planned`` where there is no plan."""

    van: str
    wanted: str
    picture: Picture | None
    pieces: Sequence[PieceLines]
    planned: str


def wall_of(job: Job, now: datetime) -> Wall:
    """In a fixed number of questions. No day on it is called today: it hangs there tomorrow."""
    today = timezone.localdate(now)
    told = None if job.closed_on else planning.newest()
    newest = photos_of(job).filter(state=PhotoState.DEVELOPED).first()
    wanted = f"{job.get_wanted_means_display()} {short_day(job.wanted_day, today)}" if job.wanted_day else ""
    return Wall(
        van=short_day(job.van_day, today) if job.van_day else "",
        wanted=f"{wanted}{', and that day cannot move' if job.fixed else ''}." if wanted else "",
        picture=picture(newest, f"The newest photo of {job}") if newest else None,
        pieces=pieces_of(job, told, now, paper=True),
        planned=written(timezone.localtime(told.made_at), "D j M H:i") if told else "",
    )
