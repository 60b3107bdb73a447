"""What stands on a bench, what stands on all of them, 50 at a time, and what somebody logged."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.http import QueryDict
from django.utils.dateparse import parse_datetime

from studio.workshop import planning
from studio.workshop.actions.bench import TAKE_BACK_WITHIN
from studio.workshop.models import Coming, Entry, Person, Stage, Stuck, coming, coming_for, one_coming, spoilt_of
from studio.workshop.planning import Told

PAGE = 50
MOST_LOGGED = 10
# What the lists and the form of what is next say of a stage: of all that hangs on it the fifth part, in half the time.
SAID = (
    "kind__name",
    "kind__sentence",
    "piece__name",
    "piece__note",
    "piece__job__name",
    "piece__job__van_day",
    "maker__name",
    "maker__is_active",
)


@dataclass(frozen=True)
class Page:
    """``more`` is the query string that leads on from here, empty on the last page."""

    stages: Sequence[Stage]
    more: str = ""


def _marked(stages: QuerySet[Stage]) -> QuerySet[Stage]:
    """Each with ``needs``, what it is stuck for (empty where it is not)."""
    standing = Stuck.objects.standing().filter(stage=OuterRef("pk"))
    return stages.annotate(needs=Subquery(standing.values("needs")[:1]))


def next_for(person: Person, *, but: Stage | None = None) -> Stage | None:
    """What the newest plan has first for this person, of what can be gone on with; else the first by van. One with ``needs``
    if all are stuck. ``but``: the stage that they look at."""
    rows = [row for row in coming_for(person) if not (but and row.stage == but.pk)]
    first = _first(rows, person, planning.newest())
    return next(iter(_told([first])), None) if first else None


def _first(rows: Sequence[Coming], person: Person, told: Told | None) -> Coming | None:
    """What the plan has first for this person, before what it gives to others or has no day for.

    What it has not seen, since it was set out or taken back after, comes before that if its van leaves sooner: until the plan is
    drawn anew the van is all that is known of it. So what is taken back of the most pressing job is first again at once, and
    what is new for a later van takes nobody from what is planned for today.
    """
    if told is None:
        return next(iter(rows), None)
    seen = {*told.stages, *(problem.stage for problem in told.problems)}
    starts = {row.stage: one.start for row in rows if (one := told.stages.get(row.stage)) and person.pk in one.makers}
    planned = min(
        (row for row in rows if row.stage in seen),
        key=lambda row: (row.needs is not None, row.stage not in starts, starts.get(row.stage, told.made_at)),
        default=None,
    )
    unseen = next((row for row in rows if row.stage not in seen), None)
    return min(filter(None, (planned, unseen)), key=lambda row: row.by_van, default=None)


def _told(rows: Sequence[Coming]) -> list[Stage]:
    """Their stages, with ``needs``, but for those that went meanwhile."""
    told = Stage.objects.told().only("title", "done_at", *SAID).in_bulk([row.stage for row in rows])
    for row in rows:
        if row.stage in told:
            told[row.stage].needs = row.needs  # type: ignore[attr-defined]
    return [told[row.stage] for row in rows if row.stage in told]


def elsewhere() -> Stage | None:
    """What is next on anybody's bench."""
    return next(iter(_told(coming()[:1])), None)


def on_bench(person: Person, asked: QueryDict) -> Page:
    """First what ``next_for`` says, and what it says but for that; then by van, and then what is stuck; ``?after=`` is the last
    stage of the page before."""
    rows = coming_for(person)
    after = asked.get("after", "")
    last = one_coming(int(after)) if _is_id(after) else None
    # The plan may have others first by now than the first page had; what that one showed out of turn is left out here.
    shown = asked.getlist("first")
    if last:
        rows = [row for row in rows if row.order > last.order and str(row.stage) not in shown]
    else:
        told = planning.newest()
        first = _first(rows, person, told)
        then = _first([row for row in rows if row != first], person, told)
        ahead = [row for row in (first, then) if row]
        rows, shown = [*ahead, *(row for row in rows if row not in ahead)], [str(row.stage) for row in ahead]
    more = urlencode({"after": rows[PAGE - 1].stage, "first": shown}, doseq=True) if len(rows) > PAGE else ""
    return Page(_told(rows[:PAGE]), more)


def _is_id(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 19


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
    """``spoilt``: a photo of it did not come out and is wanted anew."""

    entry: Entry
    can_take_back: bool
    spoilt: bool


def logged_by(person: Person, now: datetime) -> list[Logged]:
    """What this person said within the time to take it back, newest first. ``actions.can_take_back`` asks anew for each
    entry; here one query answers for all: whether anything stands at a later stage of the piece."""
    entries = Entry.objects.filter(by=person, taken_back_at=None, at__gte=now - TAKE_BACK_WITHIN)
    named = ("stage__title", "stage__position", "stage__kind__name", "stage__piece__name")
    lines = entries.select_related("stage__kind", "stage__piece").only("says", "at", *named)
    said = list(lines.order_by("-at", "-id")[:MOST_LOGGED])
    of_pieces = Entry.objects.filter(stage__piece__in={entry.stage.piece_id for entry in said}, taken_back_at=None)
    furthest: dict[int, tuple[int, int]] = {}
    for piece, *place in of_pieces.values_list("stage__piece", "stage__position", "stage") if said else ():
        furthest[piece] = max(furthest.get(piece, (0, 0)), (place[0], place[1]))
    spoilt = spoilt_of(person) if said else set()
    return [
        Logged(
            entry,
            person.is_lead or (entry.stage.position, entry.stage_id) >= furthest[entry.stage.piece_id],
            entry.pk in spoilt,
        )
        for entry in said
    ]
