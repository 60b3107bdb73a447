"""A studio with as many believable jobs as wanted, set out through the actions: some over, some tight, one held, one without a
van, and their plan drawn by its duty. For pages that show all jobs at once."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5

from studio.workshop import actions, planning
from studio.workshop.models import Job, Needs, Person, Role, Stage, StageKind
from tests import builders

# What it is, for whom, how it is made, its longest side in metres, and how many of them.
JOBS = (
    ("Talking watering can", "Wharfside Theatre", "cast", "0.9", 1),
    ("Ammonite 2.1 m", "Harbour Museum", "carved", "2.1", 1),
    ("Snail trail", "Greenacre Garden", "cast", "0.5", 5),
    ("Pretzel 1.4 m", "Kneading Lane Bakery", "carved", "1.4", 1),
    ("Whale ear bone", "Tide Hall Science Rooms", "cast", "0.5", 1),
    ("Leaning lamp post", "Fell & Daughter, hats", "built", "2.4", 1),
    ("Crab-claw arch", "Saltmarsh Aquarium", "carved", "1.6", 2),
    ("Giant boot", "Hillfoot School", "carved", "1.8", 1),
    ("Moon for a stairwell", "Quarry Lane Library", "carved", "1.2", 1),
    ("Mussel bed", "Tidewrack Café", "cast", "0.3", 3),
    ("Upside-down table", "Wharfside Theatre", "built", "1.9", 1),
    ("Trilobite bench", "Harbour Museum", "cast", "1.3", 1),
    ("Bean pole", "Hillfoot School", "built", "2.8", 1),
    ("Loaf 1 m", "Kneading Lane Bakery", "carved", "1", 1),
    ("Barnacle letters", "Saltmarsh Aquarium", "carved", "0.7", 4),
    ("Cochlea", "Tide Hall Science Rooms", "cast", "0.8", 1),
    ("Toppling hat stand", "Fell & Daughter, hats", "built", "1.7", 1),
    ("Cabbage seats", "Greenacre Garden", "cast", "0.6", 3),
    ("Paper boat", "Ferry Steps Gallery", "built", "2.2", 1),
    ("Two left feet", "Ferry Steps Gallery", "carved", "0.9", 2),
)
# Worked days between ready and van, as the lead would have promised; None where there is no van yet.
HANDS = (5, -2, 1, 8, 2, None, 12, 0)
_FORMS = UUID("5f0c1e0a-6f6e-4e0e-9c3c-0b7a3f8f2a10")
ROUNDS = 3


def fill(count: int, now: datetime) -> None:
    """The first of them are under way. Of eight, one is over and some are tight; of ten, one has no hours set."""
    actions.set_out_studio()
    ines, makers = builders.lead(), [builders.person(name) for name in ("Ada", "Bo", "Nell")]
    _packs(builders.person("Kit", Role.PACKER), ines, now)
    jobs = [_set_out(number, now, ines) for number in range(count)]
    for number, job in enumerate(jobs[: count // 2]):
        _finish_some(job, 1 + number % 2, makers[number % len(makers)], now)
    for _ in range(ROUNDS):  # a van that moves changes the turn of other jobs, too
        _plan(now)
        for number, job in enumerate(jobs):
            _promise(job, HANDS[number % len(HANDS)], ines, now)
    for job in jobs[4:5]:
        builders.say_stuck(_open_stages(job)[0], Needs.MATERIAL, now=now - timedelta(minutes=40))
    for job in jobs[2:3]:
        stage = _open_stages(job)[-3]
        _change(stage, ines, now, due_on=_ready(stage, now) - timedelta(days=1))
    for job in jobs[9:10]:
        _change(_open_stages(job)[2], ines, now, work_min=0)
    _plan(now)


def _set_out(number: int, now: datetime, by: Person) -> Job:
    name, client, method, longest, pieces = JOBS[number % len(JOBS)]
    return actions.set_out_job(
        name=f"Second {name[0].lower()}{name[1:]}" if number >= len(JOBS) else name,
        client=client,
        wanted_day=_after(now.date(), 8 + 3 * number),
        method=method,
        longest_m=Decimal(longest),
        number=pieces,
        form=uuid5(_FORMS, str(number)),
        by=by,
        now=now,
    )


def _packs(kit: Person, by: Person, now: datetime) -> None:
    kinds = StageKind.objects.filter(key__in=["fit-up", "pack"])
    actions.change_work(kit, in_plan=True, skills=list(kinds), hours=None, version=kit.version, by=by, now=now)


def _plan(now: datetime) -> None:
    builders.work(now)


def _ready(stage: Stage, now: datetime) -> date:
    """When the newest plan has a stage ready."""
    plan = planning.newest()
    return plan.stages[stage.pk].cured.date() if plan and stage.pk in plan.stages else now.date()


def _open_stages(job: Job) -> list[Stage]:
    rows = Stage.objects.told().filter(piece__job=job, done_at=None)
    return list(rows.order_by("piece__position", "piece_id", "position", "id"))


def _finish_some(job: Job, count: int, whose: Person, now: datetime) -> None:
    for number, stage in enumerate(_open_stages(job)[:count]):
        actions.finish_for(
            stage,
            whose=whose,
            done_at=now - timedelta(days=4 - number, hours=1),
            entry_id=uuid5(_FORMS, f"done {stage.pk}"),
            by=builders.lead(),
            now=now,
        )


def _promise(job: Job, hand: int | None, by: Person, now: datetime) -> None:
    """A van that many worked days after what the plan says."""
    plan = planning.newest()
    told = plan.jobs.get(job.pk) if plan else None
    van = None if hand is None or told is None or told.ready is None else _after(told.ready, hand)
    row = Job.objects.get(pk=job.pk)
    actions.change_job(
        row,
        name=row.name,
        release=row.release,  # type: ignore[arg-type]
        wanted_day=van,
        wanted_means=row.wanted_means,  # type: ignore[arg-type]
        fixed=hand == 2,
        van_day=van,
        closed_on=None,
        version=row.version,
        by=by,
        now=now,
    )


def _change(stage: Stage, by: Person, now: datetime, **other: Any) -> None:
    names = (
        "kind",
        "title",
        "maker",
        "work_min",
        "left_min",
        "crew",
        "place",
        "cure_min",
        "cure_holds",
        "due_on",
        "version",
    )
    values = {name: getattr(stage, name) for name in names}
    actions.change_stage(stage, **values | other, follows=stage.follows.all(), by=by, now=now)


def _after(day: date, count: int) -> date:
    """So many weekdays later, or earlier."""
    step = timedelta(1 if count >= 0 else -1)
    while count or day.weekday() >= 5:
        day += step
        if day.weekday() < 5 and count:
            count -= step.days
    return day
