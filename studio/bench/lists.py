"""What stands on a bench, what stands on all of them, 50 at a time, and what somebody logged."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, Subquery, When
from django.http import QueryDict
from django.utils.dateparse import parse_datetime

from studio.workshop import planning
from studio.workshop.actions.bench import TAKE_BACK_WITHIN
from studio.workshop.models import Entry, Person, Stage, Stuck

PAGE = 50
MOST_LOGGED = 10


@dataclass(frozen=True)
class Page:
    """``more`` is the query string that leads on from here, empty on the last page."""

    stages: Sequence[Stage]
    more: str = ""


def _marked(stages: QuerySet[Stage]) -> QuerySet[Stage]:
    """Each with ``needs``, what it is stuck for (empty where it is not), in the order it had, and the stuck ones last."""
    standing = Stuck.objects.standing().filter(stage=OuterRef("pk"))
    marked = stages.annotate(needs=Subquery(standing.values("needs")[:1]), held=Exists(standing))
    return marked.order_by("held", *stages.query.order_by)


def next_for(person: Person, *, but: Stage | None = None) -> Stage | None:
    """What the newest plan has first for this person, of what can be gone on with; else the first by van. One with ``needs``
    if all are stuck. ``but``: the stage that they look at."""
    stages = _marked(Stage.objects.next_up().told().on_bench_of(person))
    if but:
        stages = stages.exclude(pk=but.pk)
    return _first(stages[: PAGE + 1], stages, person)


def _first(found: Sequence[Stage], stages: QuerySet[Stage], person: Person) -> Stage | None:
    """Of ``stages``, of which the first page and one more were ``found``. Chosen here where that is all of them, which is
    quicker; from more by the database."""
    told = planning.newest()
    mine = sorted((one.start, one.stage) for one in told.stages.values() if person.pk in one.makers) if told else []
    places = {stage: place for place, (_, stage) in enumerate(mine)}

    def place(stage: Stage) -> tuple[bool, int]:
        return stage.held, places.get(stage.pk, len(places))  # type: ignore[attr-defined]  # an annotation

    if len(found) <= PAGE or not places:
        return min(found, key=place, default=None)
    whens = (When(pk=stage, then=place) for stage, place in places.items())
    return stages.order_by(F("held"), Case(*whens, default=len(places)), *stages.query.order_by[1:]).first()


def elsewhere() -> Stage | None:
    """What is next on anybody's bench."""
    return _marked(Stage.objects.next_up().told().order_by("piece__job__van_day", "id")).first()


def on_bench(person: Person, asked: QueryDict) -> Page:
    """First what ``next_for`` says; then by van, as ``on_bench_of`` has it, and then what is stuck; ``?after=`` is the last
    stage of the page before."""
    stages = _marked(Stage.objects.next_up().told().on_bench_of(person))
    after = asked.get("after", "")
    last = _marked(Stage.objects.select_related("piece__job").filter(pk=after)).first() if _is_id(after) else None
    # The plan may have another first by now than the page before had; what that one showed first is left out here.
    shown = asked.get("first", "")
    if last:
        rest = stages.filter(_after(last)).exclude(pk=int(shown) if _is_id(shown) else 0)
        found = list(rest[: PAGE + 1])
    else:
        found = list(stages[: PAGE + 1])
        if first := _first(found, stages, person):
            found, shown = [first, *(stage for stage in found if stage != first)], str(first.pk)
    more = urlencode({"after": found[PAGE - 1].pk, "first": shown}) if len(found) > PAGE else ""
    return Page(found[:PAGE], more)


def _is_id(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 19


def _after(last: Stage) -> Q:
    if last.held:  # type: ignore[attr-defined]  # an annotation
        return Q(held=True) & _behind(last)
    return Q(held=True) | _behind(last)


def _behind(last: Stage) -> Q:
    """By van, job, and place in the job and in the piece."""
    piece, van = last.piece, last.piece.job.van_day
    in_piece = Q(position__gt=last.position) | Q(position=last.position, id__gt=last.pk)
    at_place = Q(piece_id__gt=piece.pk) | Q(piece_id=piece.pk) & in_piece
    in_job = Q(piece__position__gt=piece.position) | Q(piece__position=piece.position) & at_place
    in_van = Q(piece__job_id__gt=piece.job_id) | Q(piece__job_id=piece.job_id) & in_job
    behind = Q(piece__job__van_day=van) & in_van
    return behind | Q(piece__job__van_day__gt=van) | Q(piece__job__van_day=None) if van else behind


def all_pieces(asked: QueryDict) -> Page:
    """Each piece of a live job by its next stage, or by its last where all are done; the one that was touched last first.

    The key is in the address, because a touch moves a piece. A key that nobody here wrote shows the first page.
    """
    of_piece = Stage.objects.filter(piece=OuterRef("piece"))
    finished = ~Exists(of_piece.filter(done_at=None)) & ~Exists(of_piece.filter(_behind_in_piece("")))
    touches = Entry.objects.filter(stage__piece=OuterRef("piece"), taken_back_at=None).order_by("-at")
    stages = (
        _marked(Stage.objects.filter(Q(pk__in=Stage.objects.first_left().values("pk")) | finished).told())
        .filter(piece__job__closed_on=None)
        .annotate(touched=Subquery(touches.values("at")[:1]))
        .order_by(F("touched").desc(nulls_last=True), "-piece_id")
    )
    piece = asked.get("piece", "")
    if _is_id(piece):
        stages = stages.filter(_touched_before(asked.get("before", ""), int(piece)))
    found = list(stages[: PAGE + 1])
    if len(found) <= PAGE:
        return Page(found)
    touched = found[PAGE - 1].touched
    before = touched.isoformat() if touched else ""
    return Page(found[:PAGE], urlencode({"before": before, "piece": found[PAGE - 1].piece_id}))


def _behind_in_piece(stage: str) -> Q:
    """The stages that come after one in its piece; ``stage`` leads to that one from the query around this."""
    position, pk = OuterRef(f"{stage}position"), OuterRef(f"{stage}id")
    return Q(position__gt=position) | Q(position=position, id__gt=pk)


def _touched_before(text: str, piece_id: int) -> Q:
    if not text:
        return Q(touched=None, piece_id__lt=piece_id)
    try:
        at = parse_datetime(text)
        at = at.astimezone(UTC) if at and at.tzinfo else None
    except (ValueError, OverflowError):
        at = None
    if at is None:
        return Q()
    return Q(touched__lt=at) | Q(touched=at, piece_id__lt=piece_id) | Q(touched=None)


@dataclass(frozen=True)
class Logged:
    entry: Entry
    can_take_back: bool


def logged_by(person: Person, now: datetime) -> list[Logged]:
    """What this person said within the time to take it back, newest first. ``actions.can_take_back`` asks anew for each
    entry; here one query answers for all."""
    after = Stage.objects.filter(_behind_in_piece("stage__"), piece=OuterRef("stage__piece"))
    begun = after.filter(Exists(Entry.objects.filter(stage=OuterRef("pk"), taken_back_at=None)))
    entries = (
        Entry.objects.filter(by=person, taken_back_at=None, at__gte=now - TAKE_BACK_WITHIN)
        .select_related("stage__kind", "stage__piece")
        .annotate(begun=Exists(begun))
        .order_by("-at", "-id")
    )
    return [
        Logged(entry, person.is_lead or not entry.begun)  # an annotation
        for entry in entries[:MOST_LOGGED]
    ]
