"""Jobs as strips of tape, by the week in which their van leaves."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Count, Exists, OuterRef, Q

from studio.office.standing import Rank, standing
from studio.office.wording import many, number, sentence, short_day
from studio.workshop import planning
from studio.workshop.models import Job, Piece, Stage, Stuck


@dataclass(frozen=True)
class Tape:
    """``hand`` is how it stands to its van, empty where the plan does not say; ``over`` whether that is after it."""

    pk: int
    name: str
    client: str
    hand: str
    over: bool
    words: str


@dataclass(frozen=True)
class Week:
    heading: str
    tapes: tuple[Tape, ...]


def with_words(q: str) -> Q:
    """Each word stands in the name of the job, of its client or of one of its pieces. No words: all jobs."""
    found = Q()
    for word in q.split():
        of_piece = Q(Exists(Piece.objects.filter(job=OuterRef("pk"), name__icontains=word)))
        found &= Q(name__icontains=word) | Q(client__name__icontains=word) | of_piece
    return found


def by_week(today: date, q: str = "") -> list[Week]:
    """The jobs that are going, all or those with the words ``q``: the first van first, those without a van day last."""
    told = planning.newest()
    jobs = (
        Job.objects.live()
        .filter(with_words(q))
        .select_related("client")
        .annotate(
            stages=Count("pieces__stages"),
            done=Count("pieces__stages", filter=Q(pieces__stages__done_at__isnull=False)),
        )
        .order_by("van_day", "name", "pk")
    )
    coming: dict[int, list[Stage]] = {}
    held = Exists(Stuck.objects.standing().filter(stage=OuterRef("pk")))
    stages = Stage.objects.next_up().select_related("kind", "piece", "maker").annotate(held=held)
    for stage in stages.order_by("held", "piece__position", "piece_id"):
        coming.setdefault(stage.piece.job_id, []).append(stage)
    van_days: Iterable[Job] = sorted(jobs, key=lambda job: (job.van_day is None, job.van_day or today))
    return [
        Week(_heading(monday, today), tuple(_tape(job, coming.get(job.pk, []), told, today) for job in of_week))
        for monday, of_week in groupby(van_days, key=lambda job: _monday(job.van_day))
    ]


def _monday(day: date | None) -> date | None:
    return day - timedelta(days=day.weekday()) if day else None


def _heading(monday: date | None, today: date) -> str:
    if monday is None:
        return "No van day yet"
    gone = ", gone by" if monday + timedelta(days=6) < today else ""
    this = "This week, " if monday == _monday(today) else "Week of "
    return f"{this}{short_day(monday, today)}{gone}"


def _tape(job: Job, coming: list[Stage], told: planning.Told | None, today: date) -> Tape:
    """What is next, in words: the first stage of the first piece, and how many pieces more have one to come."""
    stages, done = getattr(job, "stages", 0), getattr(job, "done", 0)
    if not stages:
        words = "Nothing set out yet."
    elif done == stages:
        words = "All of it is done."
    elif not coming:
        words = f"Each stage that is left waits for another. {sentence(number(done)) if done else 'None'} of {number(stages)} done."
    else:
        first = coming[0]
        owner = f", {first.maker}" if first.maker and first.maker.is_active else ""
        where = f"{first.piece}: " if str(first.piece) != job.name else ""
        free = sum(not getattr(stage, "held", False) for stage in coming[1:])
        others = f"; {many(free, 'more piece')} to go on with" if free else ""
        comes = "is stuck" if getattr(first, "held", False) else f"is next{owner}"
        words = sentence(
            f"{where}{first} {comes}{others}. {sentence(number(done)) if done else 'None'} of {number(stages)} done."
        )
    van = f"Van {short_day(job.van_day, today)}. " if job.van_day else ""
    stands = standing(job, told.jobs.get(job.pk), left=done < stages) if told else None
    hand = stands.word if stands and stages and job.van_day else ""
    return Tape(job.pk, job.name, job.client.name, hand, bool(stands and stands.rank is Rank.OVER), van + words)
