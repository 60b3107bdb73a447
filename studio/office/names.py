"""What the things are called that a plan names by their ids; looked up once for a whole page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from studio.craft.causes import Why
from studio.office.wording import short_day
from studio.workshop.models import Person, Stage
from studio.workshop.planning import EndTold, ProblemTold, Told


@dataclass(frozen=True)
class StageNamed:
    """``words``: the kind, and what exactly; ``place`` is empty where it has none."""

    words: str
    piece: str
    job_id: int
    job: str
    place: str = ""
    crew: int = 1
    due_on: date | None = None  # a deadline of its own, while it is still to be done
    done: bool = False

    @property
    def alone(self) -> bool:
        """Its piece is called what the job is called, so "its mould" says which."""
        return self.piece == self.job

    def __str__(self) -> str:
        return f"{self.words} of {self.piece}"


@dataclass(frozen=True)
class Names:
    """Whatever has gone since the plan was drawn is missing here. ``stuck``: by stage, what holds it."""

    plan: Told | None = None
    stages: Mapping[int, StageNamed] = field(default_factory=dict)
    people: Mapping[int, str] = field(default_factory=dict)
    stuck: Mapping[int, int] = field(default_factory=dict)

    def stage(self, key: int | None) -> str:
        found = self.stages.get(key or 0)
        return str(found) if found else "a stage that is gone"

    def own(self, key: int) -> str:
        """A stage, on the line of its own job."""
        found = self.stages.get(key)
        return f"its {found.words}" if found and found.alone else self.stage(key)

    def until(self, key: int) -> str:
        """The day on which a stage is planned to begin, as what it waits for ends: " until Wed 2 Dec"."""
        plan = self.plan
        told = plan.stages.get(key) if plan else None
        return _until(told.start.date(), plan.day) if plan and told else ""

    def shorter(self, key: int | None, half_days: int) -> bool:
        """Whether a stage alone cannot take so long: it is at work on fewer days."""
        told = self.plan.stages.get(key or 0) if self.plan else None
        return told is not None and 2 * ((told.end.date() - told.start.date()).days + 1) < half_days

    def cured(self, key: int) -> str:
        """The day on which a stage that is still to be done has set: " until Mon 30 Nov"; " yet" where it is done."""
        plan = self.plan
        told = plan.stages.get(key) if plan else None
        return _until(told.cured.date(), plan.day) if plan and told else " yet"


def _until(day: date, today: date) -> str:
    return f" until {'later today' if day == today else short_day(day, today)}"


def names_for(plan: Told | None, *, stuck: Mapping[int, int] | None = None, only: int | None = None) -> Names:
    """In two questions, for all that a page says of a plan; ``only``: for one job of it."""
    if plan is None:
        return Names(stuck=stuck or {})
    ends = [end for end in (*plan.jobs.values(), *plan.deadlines.values()) if only in {None, end.job}]
    problems = [problem for problem in plan.problems if only in {None, problem.job}]
    wanted = {*_stages(ends, problems), *(stuck or {})}
    if only is None:
        wanted |= {*plan.must_start, *plan.deadlines}
    people = dict(Person.objects.order_by().values_list("pk", "name"))  # a handful, those who have left among them
    return Names(plan, _named(wanted), people, stuck or {})


def _stages(ends: Iterable[EndTold], problems: Iterable[ProblemTold]) -> Iterable[int]:
    for end in ends:
        for cause in end.causes:
            if cause.why is not Why.CLOSED:
                yield cause.stage
            if cause.other:
                yield cause.other
    for problem in problems:
        yield from problem.others
        if problem.stage:
            yield problem.stage


def _named(keys: set[int]) -> dict[int, StageNamed]:
    columns = ("pk", "kind__name", "title", "piece__name", "piece__job_id", "piece__job__name", "place__name", "crew")
    rows = Stage.objects.filter(pk__in=keys).order_by().values_list(*columns, "due_on", "done_at")
    return {
        pk: StageNamed(
            f"{kind}, {title}" if title else kind,
            piece,
            job_id,
            job,
            place or "",
            crew,
            None if done_at else due_on,
            bool(done_at),
        )
        for pk, kind, title, piece, job_id, job, place, crew, due_on, done_at in rows
    }
