"""Plans and names made by hand, for the sentences that are said of them."""

from datetime import UTC, date, datetime, time

from studio.craft.causes import Why
from studio.office.names import Names, StageNamed
from studio.workshop.models import Job
from studio.workshop.planning import CauseTold, EndTold, Longer, ProblemTold, Told
from studio.workshop.planning.answer import Stages

TODAY = date(2026, 11, 24)  # a Tuesday
VAN, READY = date(2026, 12, 4), date(2026, 12, 7)
AMMONITE, SNAILS = 1, 2
MOULD, PAINT, SNAIL_3, SNAIL_4 = 11, 12, 21, 22
ADA, BO = 5, 6
BOOTH = 7


def cause(why: Why, half_days: int, stage: int = MOULD, **other: int) -> CauseTold:
    return CauseTold(why, half_days, stage, **other)


def told(
    *causes: CauseTold,
    hand: int | None = -2,
    held: bool = False,
    over: bool | None = None,
    job: int = AMMONITE,
    due: date | None = VAN,
    cut: bool = False,
) -> EndTold:
    after = hand is not None and hand < 0 if over is None else over
    return EndTold(job, READY, hand, after, held, causes, due=due, cut=cut)


def plan(
    *jobs: EndTold,
    starts: dict[int, date] | None = None,
    must_start: tuple[int, ...] = (),
    problems: tuple[ProblemTold, ...] = (),
    day: date = TODAY,
    longer: dict[int, Longer] | None = None,
) -> Told:
    """``starts``: on which days stages begin and end, and have set; Bo does them."""
    at = {
        str(stage): [*[datetime.combine(begins, time(9), UTC).isoformat()] * 3, [BO]]
        for stage, begins in (starts or {}).items()
    }
    return Told(
        made_at=datetime.combine(day, time(10, 42), UTC),
        day=day,
        jobs={one.job: one for one in jobs},
        stages=Stages(at),
        deadlines={},
        must_start=must_start,
        problems=problems,
        longer=longer or {},
    )


def names(of: Told | None = None, stuck: dict[int, int] | None = None) -> Names:
    return Names(
        plan=of or plan(),
        stages={
            MOULD: StageNamed("mould", "Ammonite", AMMONITE, "Ammonite", "mould bench", crew=2),
            PAINT: StageNamed("paint, second coat", "Ammonite", AMMONITE, "Ammonite", "booth"),
            SNAIL_3: StageNamed("lay-up", "Snail 3", SNAILS, "Snail trail", "lay-up bay"),
            SNAIL_4: StageNamed("paint", "Snail 4", SNAILS, "Snail trail", "booth"),
        },
        people={ADA: "Ada", BO: "Bo"},
        stuck=stuck or {},
    )


def job(pk: int = AMMONITE, name: str = "Ammonite", van: date | None = VAN, **other: object) -> Job:
    """A row that is in no database."""
    return Job(pk=pk, name=name, van_day=van, **other)
