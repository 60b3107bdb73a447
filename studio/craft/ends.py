"""When what a plan holds is ready, and how that stands to a day."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from studio.craft.stages import Done, Placed, Plan, Shop, Stage
from studio.craft.workdays import worked_days


@dataclass(frozen=True, slots=True)
class Deadline:
    """How a stage stands to the day that it must be done by, or a job, then without ``stage``, to its van's.

    ``ready``      the slot by which it is ready; None where the plan has not all of it
    ``ready_day``  the local day of that
    ``hand``       worked days between the two, negative when over; None if not known when it is ready
    ``over``       ready on a later day. ``hand`` is 0 then if the shop is not open in between
    ``cut``        over, and the grid does not hold all the days in between: there are more of them than ``hand`` says
    """

    job: str
    stage: str
    day: date
    ready: int | None = None
    ready_day: date | None = None
    hand: int | None = None
    over: bool = False
    cut: bool = False


class Ends:
    """A shop and a plan that was made from it, with the ends of its jobs looked up once.

    A stage is an end of its job if nothing of the job starts after it is cured: usually the last one alone.
    """

    def __init__(self, shop: Shop, plan: Plan) -> None:
        self._shop = shop
        self._all = plan.placed | {d.id: Placed(d.id, d.at, d.at, d.at + d.cure, ()) for d in shop.done}
        stages: list[Stage | Done] = [*shop.stages, *shop.done]
        job_of = {stage.id: stage.job for stage in stages}
        followed = {
            i
            for stage in stages
            for i in stage.after
            if stage.id in self._all and i in self._all and job_of[i] == stage.job
            if self._all[i].cured <= self._all[stage.id].start
        }
        self._ends: dict[str, list[Placed]] = defaultdict(list)
        for i in self._all.keys() - followed:
            self._ends[job_of[i]].append(self._all[i])
        self._unplanned = {stage.job for stage in shop.stages if stage.id not in plan.placed}

    def last(self, job: str) -> Placed | None:
        """The end by which a job is ready; None where the plan has not all of it."""
        if job in self._unplanned:
            return None
        return max(self._ends[job], key=lambda end: (self.ready(end)[0], end.stage), default=None)

    def end(self, job: str, stage: str) -> Placed | None:
        """A stage, or without one the end of the job; None where the plan has it not."""
        return self._all.get(stage) if stage else self.last(job)

    def ready(self, placed: Placed) -> tuple[int, date]:
        """The slot and the local day by which a stage is ready.

        One that cures is ready when the shop is next open, for somebody must see it; if that is never, when it is cured. Work
        is ready on the day of its last quarter hour.
        """
        if placed.end < placed.cured and placed.cured >= 0:
            opens = self._shop.calendar.next_open(placed.cured)
            if opens < self._shop.calendar.beyond:
                return opens, self._shop.grid.day(opens)
        return placed.cured, self._shop.grid.day(max(placed.cured - 1, placed.start))

    def deadline(self, job: str, stage: str, due: int) -> Deadline:
        """``due`` is the first slot after the day that it names. Without ``stage`` it is the job's."""
        grid, calendar = self._shop.grid, self._shop.calendar
        day = grid.day(due - 1)
        end = self.end(job, stage)
        if end is None:
            return Deadline(job, stage, day)
        ready, ready_day = self.ready(end)
        over = ready_day > day
        hand = -worked_days(grid, calendar, day, ready_day) if over else worked_days(grid, calendar, ready_day, day)
        held = grid.first <= day + timedelta(1) and ready_day < grid.first + timedelta(grid.days)
        return Deadline(job, stage, day, ready, ready_day, hand, over, cut=over and not held)
