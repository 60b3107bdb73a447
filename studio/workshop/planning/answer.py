"""The newest plan, as a screen reads it. Ids only: names are looked up when they are shown."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from studio.craft.causes import Why
from studio.workshop.models import STANDING, Errand, Kind, Plan
from studio.workshop.planning.helps import Act, Help, Longer

FORM = 3  # of what is kept; a row in another is none, and is drawn anew
TIGHT_DAYS, TIGHT_DAYS_FIXED = 2, 3


@dataclass(frozen=True)
class CauseTold:
    """What stands in the way, in half worked days; ``stage`` is whose time it takes, ``other`` what is in its way."""

    why: Why
    half_days: int
    stage: int
    other: int | None = None
    other_job: int | None = None
    place: int | None = None
    maker: int | None = None


@dataclass(frozen=True)
class EndTold:
    """How a job stands to its van, or a stage to a day of its own. ``ready`` is None where that cannot be planned. ``hand``: worked
    days from then to the day, negative when over. ``held``: somebody must answer first, so ``ready`` is the best that can be.
    ``helps``: what was tried and helps, the best first; of what is late or tight alone. ``due``: the day it was measured against,
    None for no van. ``cut``: over by more days than were counted, so that ``hand`` is no number to tell."""

    job: int
    ready: date | None
    hand: int | None
    over: bool
    held: bool
    causes: tuple[CauseTold, ...]
    helps: tuple[Help, ...] = ()
    due: date | None = None
    cut: bool = False


@dataclass(frozen=True)
class StageTold:
    """Work from ``start`` to ``end``, cured at ``cured``; aware, in the studio's zone."""

    stage: int
    start: datetime
    end: datetime
    cured: datetime
    makers: tuple[int, ...]


@dataclass(frozen=True)
class ProblemTold:
    """``trouble`` is a value of ``studio.craft.stages.Trouble``, or LOGGED_AHEAD."""

    trouble: str
    job: int | None
    stage: int | None
    others: tuple[int, ...] = ()
    number: int = 0


class Stages(Mapping[int, StageTold]):
    """By stage id; read one by one, since a page seldom needs more than a few of hundreds."""

    def __init__(self, told: dict[str, list[Any]]) -> None:
        self._told = told

    def __getitem__(self, stage: int) -> StageTold:
        start, end, cured, makers = self._told[str(stage)]
        at = datetime.fromisoformat
        return StageTold(stage, at(start), at(end), at(cured), tuple(makers))

    def __iter__(self) -> Iterator[int]:
        return map(int, self._told)

    def __len__(self) -> int:
        return len(self._told)


@dataclass(frozen=True)
class Told:
    """``must_start``: stages that must start on ``day`` or a deadline moves, the most pressing first. ``longer``: by person, the
    days of those whose longer days help."""

    made_at: datetime
    day: date
    jobs: dict[int, EndTold]
    stages: Stages
    deadlines: dict[int, EndTold]  # by stage
    must_start: tuple[int, ...]
    problems: tuple[ProblemTold, ...]
    longer: dict[int, Longer]


def newest() -> Told | None:
    """The newest plan, with one question to the database; None before the first, and after an update that tells it differently."""
    row = Plan.objects.filter(answer__form=FORM).first()
    return _read(row) if row else None


def stale() -> bool:
    """Whether something was changed that the newest plan has not seen yet."""
    return Errand.objects.filter(kind=Kind.REFRESH_PLAN, state__in=STANDING).exists()


def word(told: EndTold, fixed: bool) -> str:
    """``over``: after the van. ``tight``: up to two worked days in hand, three where the day cannot move. Empty where there
    is no van, or no day."""
    if told.over:
        return "over"
    if told.hand is None:
        return ""
    return "tight" if told.hand <= (TIGHT_DAYS_FIXED if fixed else TIGHT_DAYS) else "in hand"


def _read(row: Plan) -> Told:
    told = row.answer
    return Told(
        made_at=row.made_at,
        day=date.fromisoformat(told["day"]),
        jobs={int(job): _read_end(one) for job, one in told["jobs"].items()},
        stages=Stages(told["stages"]),
        deadlines={int(stage): _read_end(one) for stage, one in told["deadlines"].items()},
        must_start=tuple(told["must_start"]),
        problems=tuple(
            ProblemTold(trouble, job, stage, tuple(others), number)
            for trouble, job, stage, others, number in told["problems"]
        ),
        longer={int(person): Longer(*days) for person, days in told["longer"].items()},
    )


def _read_end(one: dict[str, Any]) -> EndTold:
    causes = tuple(CauseTold(Why(why), *rest) for why, *rest in one["causes"])
    helps = tuple(Help(Act(act), subject, half_days) for act, subject, half_days in one["helps"])
    return EndTold(
        one["job"],
        _day(one["ready"]),
        one["hand"],
        one["over"],
        one["held"],
        causes,
        helps,
        _day(one["due"]),
        one["cut"],
    )


def _day(told: str | None) -> date | None:
    return date.fromisoformat(told) if told else None
