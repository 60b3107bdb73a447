"""What bound a job in a plan, walked back from its end to now: which stages, what each waited for, and how long that took."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from studio.craft.causes import Cause, Why
from studio.craft.rulers import rulers
from studio.craft.spans import Span, following, full, joined, latest
from studio.craft.stages import Placed, Plan, Shop, Stage, keeps_its_place
from studio.craft.workdays import Calendar


@dataclass(frozen=True, slots=True)
class Trail:
    """``chain``: the stages that bind, first to last. ``lost``: units of time by what they went to, the earliest first."""

    chain: tuple[str, ...]
    lost: dict[Cause, int]


class _Piece(NamedTuple):
    """Time of ``stage`` in [start, end) that went to ``why``, but where not all of ``there`` were: that went to their absence.

    Closed days up to ``closed`` are lost to the closing, because work would have gone on. ``other`` and ``maker`` are in the way.
    """

    why: Why
    stage: str
    start: int
    end: int
    closed: int = 0
    there: Sequence[str] = ()
    other: str = ""
    maker: str = ""


class Trails:
    """A plan that is asked again and again who was where: what it holds is sorted once.

    ``half`` is the length of half a day in the units of every ``Trail.lost``.
    """

    def __init__(self, shop: Shop, plan: Plan) -> None:
        self._now = shop.now
        self._placed = plan.placed
        self._stages = {stage.id: stage for stage in shop.stages}
        self._done = {stage.id: stage for stage in shop.done}
        self._makers = {maker.id: maker for maker in shop.makers}
        self._able: dict[tuple[str, str], list[str]] = {}
        last = max([shop.now, *map(self.cured, plan.placed), *map(self.cured, self._done)])
        self.half, self._open, self._shut = rulers(shop, min(shop.calendar.next_open(last), max(last, shop.grid.slots)))
        self._busy = {maker: joined(spans, self._at_once(maker)) for maker, spans in self._bookings().items()}
        takes = self._takes()
        self._full = {
            p.id: joined(full(takes[p.id], p.capacity), self._same_days) for p in shop.places if p.capacity > 0
        }

    def _bookings(self) -> dict[str, list[Span]]:
        spans: dict[str, list[Span]] = {maker: [] for maker in self._makers}
        for placed in self._placed.values():
            for maker in placed.makers if placed.start < placed.end else ():
                spans[maker].append(Span(placed.start, placed.end, placed.stage, placed.start))
        for one in self._makers.values():
            if one.busy_with in self._done and one.free_from > self._now:
                spans[one.id].append(Span(self._now, one.free_from, one.busy_with, self._now))
        return spans

    def _takes(self) -> dict[str, list[tuple[int, int, str]]]:
        takes: dict[str, list[tuple[int, int, str]]] = defaultdict(list)
        for placed in self._placed.values():
            stage = self._stages[placed.stage]
            start = self._now if keeps_its_place(stage, self._done) else placed.start
            takes[stage.place].append((start, placed.cured if stage.holds else placed.end, stage.id))
        for done in self._done.values():
            if done.holds:
                takes[done.place].append((done.at, done.at + done.cure, done.id))
        return takes

    def _at_once(self, maker: str) -> Callable[[Span, Span], bool]:
        worked = self._calendar(maker).worked
        return lambda before, after: not worked(before.end, after.start)

    def _same_days(self, before: Span, after: Span) -> bool:
        """Whether the shop was not open in between; and no day on which it was closed is hidden in the run."""
        return not self._open.length(before.end, after.start) and not self._shut.length(before.since, after.end)

    def cured(self, stage: str) -> int:
        """When a stage that is planned or done is cured."""
        if stage in self._done:
            return self._done[stage].at + self._done[stage].cure
        return self._placed[stage].cured

    def back(self, last: str, seen: int, end: int, due: int | None) -> Trail:
        """The trail from stage ``last``, by which its job is ready, back to now.

        If it ends by curing, somebody will have ``seen`` it at that slot, and the day that counts is over at slot ``end``: all of
        it is lost to the cure. Closed days are lost only before ``due``: after it no day counts but those on which the shop is
        open.
        """
        chain: list[str] = []
        pieces = [_Piece(Why.CURE, last, self.cured(last), end, seen)]
        stage = last
        while stage and self.cured(stage) > self._now:
            chain.append(stage)
            before = ""
            if stage in self._done:
                # What was done since the plan's beginning is work of the stage that went on with it.
                over = max(self._now, self._done[stage].at)
                pieces.append(_Piece(Why.CURE, stage, over, self.cured(stage)))
                pieces.append(_Piece(Why.WORK, chain[-2] if len(chain) > 1 else stage, self._now, over))
            else:
                before = self._binding(stage)
                pieces += self._pieces(stage, max(self._now, self.cured(before)) if before else self._now)
            stage = before
        return Trail(tuple(reversed(chain)), self._lost(pieces, due))

    def _binding(self, stage: str) -> str:
        """What it follows that was cured last before it started; empty if nothing."""
        start = self._placed[stage].start
        known = (i for i in self._stages[stage].after if i in self._placed or i in self._done)
        return max((i for i in known if self.cured(i) <= start), key=lambda i: (self.cured(i), i), default="")

    def _pieces(self, stage_id: str, ready: int) -> Iterator[_Piece]:
        """A stage's time from ``ready``, when all it follows was cured, until it is cured itself, the last first."""
        stage, placed = self._stages[stage_id], self._placed[stage_id]
        yield _Piece(Why.CURE, stage_id, placed.end, placed.cured)
        yield _Piece(Why.WORK, stage_id, placed.start, placed.end, placed.end, placed.makers)
        free = min(max(ready, stage.not_before), placed.start)
        at = placed.start
        while at > free:
            span = latest(self._full.get(stage.place, ()), at)
            if span and span.end >= at:
                closed = min(at, self._worked_until(span.stage))
                piece = _Piece(Why.PLACE, stage_id, max(free, span.since), at, closed, other=span.stage)
            else:
                piece = self._kept_by_people(stage, placed, max(free, span.end) if span else free, at)
            yield piece
            at = piece.start
        # Before it was set out, or somebody was at it, nothing was lost: that is as if it were work.
        yield _Piece(Why.HELD if stage.held else Why.WORK, stage_id, ready, free)

    def _kept_by_people(self, stage: Stage, placed: Placed, free: int, at: int) -> _Piece:
        """The time until ``at`` in which somebody of its crew was at another stage; or else another who could have done it;
        or else the time since then, in which its crew was not there, or was kept free for what they did next."""
        for makers in (placed.makers, self._who_can(stage)):
            spans = [(span, maker) for maker in makers if (span := latest(self._busy[maker], at))]
            busy = [(span.since, maker, span.stage) for span, maker in spans if span.end >= at]
            if busy:
                since, maker, other = min(busy)
                return _Piece(Why.MAKER, stage.id, max(free, since), at, at, (maker,), other, maker)
            free = max([free, *(span.end for span, _ in spans)])
        kept = [(span, maker) for maker in placed.makers if (span := following(self._busy[maker], at, stage.id))]
        if kept:
            span, maker = min(kept)
            return _Piece(Why.MAKER, stage.id, free, at, at, placed.makers, span.stage, maker)
        return _Piece(Why.WORK, stage.id, free, at, at, placed.makers)

    def _calendar(self, maker: str) -> Calendar:
        return self._makers[maker].calendar

    def _who_can(self, stage: Stage) -> list[str]:
        asks = (stage.skill, stage.maker if stage.crew <= 1 else "")
        if asks not in self._able:
            self._able[asks] = [i for i, maker in self._makers.items() if maker.can(stage.skill) and asks[1] in ("", i)]
        return self._able[asks]

    def _away(self, start: int, end: int, makers: Sequence[str]) -> str:
        """Who of a crew was there least."""
        gone = {maker: self._open.without(start, end, [self._calendar(maker)]) for maker in makers}
        return min(gone, key=lambda maker: (-gone[maker], maker), default="")

    def _lost(self, pieces: Iterable[_Piece], due: int | None) -> dict[Cause, int]:
        """What the ``pieces``, the last first, add up to: all that one stage waits for its place is one cause, and so on. It
        names whom or what was the last in the way."""
        lost: dict[tuple[Why, str, str], int] = {}
        causes: dict[tuple[Why, str, str], Cause] = {}
        shut: Counter[str] = Counter()

        def lose(units: int, why: Why, stage: str, other: str = "", maker: str = "") -> None:
            key = (why, stage, maker if why is Why.AWAY else "")
            if key not in lost:
                job = self._job(other) if other else ""
                place = self._stages[stage].place if why is Why.PLACE else ""
                causes[key] = Cause(why, 0, stage, other, job, place, maker)
            lost[key] = lost.get(key, 0) + units

        for why, stage, start, end, closed, there, other, maker in pieces:
            if start < end:
                units = self._open.length(start, end)
                away = self._open.without(start, end, map(self._calendar, there)) if units and there else 0
                if units > away:
                    lose(units - away, why, stage, other, maker)
                if away:
                    lose(away, Why.AWAY, stage, maker=self._away(start, end, there))
                if units := self._shut.length(start, closed if due is None else min(closed, due)):
                    shut[stage] += units
        found = {causes[key]: units for key, units in reversed(lost.items())}
        if shut:
            found[Cause(Why.CLOSED, 0, max(shut, key=shut.__getitem__))] = shut.total()
        return found

    def _job(self, stage: str) -> str:
        return (self._stages.get(stage) or self._done[stage]).job

    def _worked_until(self, stage: str) -> int:
        return self._done[stage].at if stage in self._done else self._placed[stage].end
