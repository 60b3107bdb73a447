"""What stands on Deadlines: the answer, what presses today, and each job as a lying rule, the worst first."""

import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, F, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from studio.office import looks, lying, waiting
from studio.office.linked import html, plain
from studio.office.lying import WorkedDays
from studio.office.names import Names, names_for
from studio.office.rules import rules_of
from studio.office.standing import Standing, hand_of, headline, standing
from studio.office.today import StuckNow, Waiting, pressing, stuck_now
from studio.office.wording import when
from studio.workshop import letters, planning
from studio.workshop.models import Closure, Errand, ErrandState, Job, Kind, Person, Photo, Stage, Studio
from studio.workshop.models.prepared import Question, put_together
from studio.workshop.planning import EndTold, Told

COUNTED = ("failed", "unknown", "taken_back", "photos", "words")
CAN_BE_TAKEN_AGAIN = timedelta(days=4)  # over a weekend; after that the piece has mostly gone on
NEXT_DAY_WITHIN = 15  # days; a shop that is shut for longer has no next worked day


@dataclass(frozen=True)
class Shop:
    """All that the page asks of the record but for the plan and its names."""

    jobs: Sequence[Job]
    stuck: Sequence[StuckNow]
    days: WorkedDays
    waiting: Waiting
    failed_plan: UUID | None
    has_people: bool
    today: date


def page(now: datetime) -> dict[str, Any]:
    """In a fixed number of questions to the database, however many jobs there are."""
    plan, shop = planning.newest(), _shop(now)
    stuck = {one.stage: one.key for one in shop.stuck}
    names = names_for(plan, stuck=stuck)
    missed = _missed(names)
    found = sorted((_standing(job, plan, missed) for job in shop.jobs), key=lambda one: one.place)
    rules = rules_of(found, names, shop.days, shop.today)
    on = lying.scale([rule.line for rule in rules if rule.line])
    answer = headline(
        found,
        planned=plan is not None,
        missed=[(str(names.stages[stage]), f"#stage-{stage}", one) for stage, one in missed],
    )
    press = pressing(
        stuck=shop.stuck,
        names=_with_their_vans(names, shop.jobs),
        waiting=shop.waiting,
        jobs=shop.jobs,
        today=shop.today,
        next_day=_next_day(shop),
        now=now,
    )
    return {
        "now": now,
        "today": shop.today,
        "heading": plain(answer),
        "answer": html(answer),
        "press": [(at, html(words)) for at, words in press],
        "rules": [(rule, lying.drawing(rule.line, on) if rule.line else "") for rule in rules],
        "shapes": lying.shapes(on) if rules else "",
        "planned": _planned(plan, now),
        "begins": not shop.has_people or not (shop.jobs or Job.objects.exists()),
        "mail": letters.server,
        "failed_plan": shop.failed_plan,
    }


def _missed(names: Names) -> list[tuple[int, EndTold]]:
    """The stages that miss a day of their own, which they still have, the worst first."""
    due = {stage: named.due_on for stage, named in names.stages.items()}
    deadlines = names.plan.deadlines.items() if names.plan else ()
    over = [(stage, one) for stage, one in deadlines if one.over and due.get(stage) == one.due]
    return sorted(over, key=lambda each: (hand_of(each[1]), each[0]))


def _with_their_vans(names: Names, jobs: Iterable[Job]) -> Names:
    """What must start today for a van that is another one by now need not."""
    if not names.plan:
        return names
    plan, vans = names.plan, {job.pk: job.van_day for job in jobs}
    moved = {one.job for one in plan.jobs.values() if one.due != vans.get(one.job)}
    starts = tuple(stage for stage in plan.must_start if (of := names.stages.get(stage)) and of.job_id not in moved)
    return replace(names, plan=replace(plan, must_start=starts))


def _planned(plan: Told | None, now: datetime) -> str:
    if plan is None:
        return ""
    told = when(plan.made_at, now)
    return f"Planned {'on' if ' ' in told else 'today at'} {told}."


# what is asked of the record


def _shop(now: datetime) -> Shop:
    today = timezone.localdate(now)
    studio = _studio()
    spoilt = _moment(getattr(studio, "spoilt_at", None)) >= now - CAN_BE_TAKEN_AGAIN
    closed = Closure.objects.values_list("first_day", "last_day").order_by()
    left = Stage.objects.filter(piece__job=OuterRef("pk"), done_at=None)
    return Shop(
        jobs=list(Job.objects.live().annotate(left=Exists(left), client_name=F("client__name")).order_by()),
        stuck=stuck_now(),
        days=WorkedDays(studio.hours, closed, today),
        waiting=Waiting(*(getattr(studio, name) for name in COUNTED), spoilt=spoilt),
        failed_plan=_uuid(getattr(studio, "failed_plan", None)),
        has_people=bool(getattr(studio, "has_people", False)),
        today=today,
    )


def _studio() -> Studio:
    """The studio, with how many of each thing wait."""
    sql, values = _how_many_wait()
    return Studio.objects.raw(sql, values)[0]


@functools.cache
def _how_many_wait() -> Question:
    """All in one question, which is put together once: that takes longer than to answer it."""
    failed = Errand.objects.filter(state=ErrandState.FAILED)
    unknown = Errand.objects.filter(state=ErrandState.UNKNOWN)
    asked = Studio.objects.annotate(
        failed=_count(failed.exclude(kind__in=[Kind.REFRESH_PLAN, Kind.TEST_LETTER])),
        unknown=_count(unknown.exclude(kind=Kind.TEST_LETTER)),
        taken_back=_count(waiting.gone_too_late()),
        photos=_count(Photo.objects.to_look_at()),
        words=_count(looks.done_without_photo()),
        has_people=Exists(Person.objects.filter(in_plan=True, is_active=True)),
        spoilt_at=Subquery(waiting.not_come_out().order_by("-at").values("at")[:1]),
        failed_plan=Subquery(failed.filter(kind=Kind.REFRESH_PLAN).values("pk")[:1]),
    )
    return put_together(asked)


def _uuid(told: object) -> UUID | None:
    """As some databases have no type for it, a raw answer may be its digits."""
    return UUID(str(told)) if told else None


def _moment(told: object) -> datetime:
    """The same holds for a time, which is then written in UTC. Long ago where there is none."""
    if not told:
        return datetime.min.replace(tzinfo=UTC)
    at = datetime.fromisoformat(str(told))
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def _count(rows: QuerySet[Any]) -> Coalesce:
    """As a part of another question."""
    counted = rows.order_by().annotate(all=Value(1)).values("all").annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(counted), 0)


def _next_day(shop: Shop) -> date:
    """The next day on which the shop works; tomorrow where none is near."""
    coming = (shop.today + timedelta(number) for number in range(1, NEXT_DAY_WITHIN))
    return next((day for day in coming if shop.days.works(day)), shop.today + timedelta(1))


def _standing(job: Job, plan: Told | None, missed: Sequence[tuple[int, EndTold]]) -> Standing:
    told = plan.jobs.get(job.pk) if plan else None
    own = next((one for _, one in missed if one.job == job.pk), None)
    return standing(job, told, left=getattr(job, "left", False), client=getattr(job, "client_name", ""), own=own)
