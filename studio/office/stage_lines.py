"""The stages of a job as written lines: where each stands, and when the plan has it. A fixed number of questions."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby

from django.utils import timezone
from django.utils.dateformat import format as written

from studio.craft.stages import Trouble
from studio.office.order import Order, not_done_before, order_of
from studio.office.wording import listed, on_or_at, short_day, when
from studio.workshop import planning
from studio.workshop.models import Entry, Job, Person, Stage, Stuck
from studio.workshop.planning import StageTold, Told

# Why the plan has no day for a stage, or what else it says of it; the head of the job's page says it at length.
_SAID = {
    Trouble.FOLLOWS_ITSELF: "No day: it follows itself.",
    Trouble.FOLLOWS_NOTHING: "No day: it follows a stage that is gone.",
    Trouble.NOBODY_CAN: "No day: nobody can do it.",
    Trouble.TOO_FEW_CAN: "No day: too few can do it.",
    Trouble.NO_SUCH_PLACE: "No day: its place is gone.",
    Trouble.MAKER_GONE: "No day: who it is given to is not there.",
    Trouble.TOO_LONG: "No day within two years.",
    Trouble.FOLLOWS_TROUBLE: "No day: what it follows has none.",
    Trouble.ZERO_HOURS: "It has no hours.",
    planning.LOGGED_AHEAD: "That hour is still to come: the clock of this machine was wrong.",
}


@dataclass(frozen=True)
class StageLine:
    """``state`` stands in the margin. ``wrong`` is what is not as it should be; ``stuck`` is what waits for an answer."""

    stage: Stage
    state: str
    words: str
    wrong: str = ""
    stuck: int | None = None


@dataclass(frozen=True)
class Around:
    """What is known of a job's stages beside their rows."""

    order: Order
    begun: Collection[int]  # by photos of those who do such work
    stuck: dict[int, Stuck]
    told: Told | None
    troubles: dict[int, list[str]]
    names: dict[int, str]  # of people
    now: datetime
    paper: bool
    closed: bool

    def day(self, day: date) -> str:
        today = timezone.localdate(self.now)
        return "today" if day == today and not self.paper else short_day(day, today)

    def when(self, at: datetime) -> str:
        return self.day(timezone.localdate(at)) if self.paper else when(at, self.now)


def lines_of(job: Job, told: Told | None, now: datetime, *, paper: bool = False) -> dict[int, tuple[StageLine, ...]]:
    """By piece, in order; a piece without stages is missing. With ``told`` None nothing is said of the plan.

    On paper no day is called today, and what was done has its day and no clock.
    """
    order = order_of(job.pk)
    begun = Entry.objects.beginning().filter(stage__piece__job=job)
    standing = Stuck.objects.standing().filter(stage__piece__job=job).select_related("entry__by")
    troubles: dict[int, list[str]] = defaultdict(list)
    for problem in told.problems if told else ():
        troubles[problem.stage or 0].append(problem.trouble)
    around = Around(
        order,
        set(begun.values_list("stage_id", flat=True)),
        {stuck.stage_id: stuck for stuck in standing},
        told,
        troubles,
        dict(Person.objects.values_list("pk", "name")),
        now,
        paper,
        job.closed_on is not None,
    )
    by_piece = groupby(order.stages.values(), key=lambda stage: stage.piece_id)
    return {piece: tuple(_lines(stages, around)) for piece, stages in by_piece}


def _lines(stages: Iterable[Stage], around: Around) -> Iterable[StageLine]:
    first = True
    for stage in stages:
        if stage.done_at:
            yield _done(stage, stage.done_at, around)
            continue
        waits = any(not around.order.stages[other].done_at for other in around.order.following[stage.pk])
        yield _open(stage, around, free=not waits and (first or stage.pk in around.order.chosen))
        first = False


def _done(stage: Stage, at: datetime, around: Around) -> StageLine:
    words = f"{around.when(at)} by {stage.done_by}"
    hard = at + timedelta(minutes=stage.cure_min)
    if hard > around.now and stage.cure_min:
        words += f", sets until {_until(hard, at, around)}"
    wrong = [_SAID[trouble] for trouble in around.troubles.get(stage.pk, ()) if trouble == planning.LOGGED_AHEAD]
    return StageLine(stage, "done", words, " ".join(filter(None, [*wrong, not_done_before(around.order, stage)])))


def _open(stage: Stage, around: Around, *, free: bool) -> StageLine:
    stuck, troubles = around.stuck.get(stage.pk), around.troubles.get(stage.pk, ())
    if around.closed:
        return StageLine(stage, "not done", f"{stage.maker}'s" if stage.maker else "")
    placed = around.told.stages.get(stage.pk) if around.told else None
    due = f", must be done by {short_day(stage.due_on, timezone.localdate(around.now))}" if stage.due_on else ""
    if stuck:
        said = f"{stuck.get_needs_display().lower()}, said {on_or_at(stuck.at, around.now)} by {stuck.entry.by}"
        planned = f"; at best {_planned(stage, placed, around)}" if placed else ""
        return StageLine(stage, "stuck", f"{said}{planned}{due}", stuck=stuck.pk)
    state = ("on the bench" if stage.pk in around.begun else "next") if free else "to come"
    if placed:
        words = _planned(stage, placed, around)
    else:
        words = f"{stage.maker}'s" if stage.maker and stage.maker.is_active else "whoever is free"
        if around.told and not troubles:
            words += ", not in the plan yet"
    wrong = " ".join(_SAID[trouble] for trouble in troubles if trouble in _SAID)
    return StageLine(stage, state, words + due, wrong)


def _planned(stage: Stage, placed: StageTold, around: Around) -> str:
    """``Thu 26 Nov, Ada, mould bench, sets until Sat 28 Nov``"""
    who = listed([around.names.get(maker, "somebody") for maker in placed.makers])
    last = placed.end - timedelta(minutes=1) if placed.end > placed.start else placed.end
    parts = [_days(placed.start, last, around), who, stage.place.name if stage.place else ""]
    if placed.cured > placed.end:
        parts.append(f"sets until {_until(placed.cured, placed.end, around)}")
    return ", ".join(filter(None, parts))


def _days(first: datetime, last: datetime, around: Around) -> str:
    begins, ends = timezone.localdate(first), timezone.localdate(last)
    if begins == ends:
        return around.day(begins)
    if (begins.year, begins.month) == (ends.year, ends.month) and around.day(begins) != "today":
        return f"{written(begins, 'D j')} to {around.day(ends)}"
    return f"{around.day(begins)} to {around.day(ends)}"


def _until(hard: datetime, ended: datetime, around: Around) -> str:
    """The day, or the clock where it is the same day."""
    same = timezone.localdate(hard) == timezone.localdate(ended)
    return written(timezone.localtime(hard), "H:i") if same else around.day(timezone.localdate(hard))
