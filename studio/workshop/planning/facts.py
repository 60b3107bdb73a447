"""All that a plan is made from, as plain JSON, so that it can be hashed, kept and compared. The hour is not in it, the day is."""

import json
from collections import defaultdict
from collections.abc import Collection
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from studio.workshop.models import Closure, Entry, Job, Person, Place, Stage, Stuck, Studio
from studio.workshop.planning.following import Followed, followed
from studio.workshop.planning.spent import EVER, Event, Span, spent

DAYS_BACK = 56  # so far back somebody may have begun what is still on the bench
MOST_DAYS_BACK = 400  # for the days since a van that has left; more than a year, as is told of what left before
DAYS_AHEAD = 730

Facts = dict[str, Any]


def gather(now: datetime) -> Facts:
    """In a fixed number of questions to the database, however many jobs there are."""
    studio = Studio.objects.get()
    today = now.astimezone(ZoneInfo(studio.time_zone)).date()
    stages = list(
        Stage.objects.filter(piece__job__closed_on=None).select_related("kind", "piece", "maker").order_by("id")
    )
    given = {stage.maker_id for stage in stages if stage.maker_id and not stage.done_at}
    people = Person.objects.filter(is_active=True).prefetch_related("skills", "absences", "overtime").order_by("id")
    jobs = list(Job.objects.live().only("id", "van_day").order_by("id"))
    own = [stage.due_on for stage in stages if stage.due_on and not stage.done_at]
    since = _since(today, [*own, *(job.van_day for job in jobs if job.van_day)])
    makers = [_maker(person, since, today) for person in people if person.in_plan or person.pk in given]
    return {
        "day": today.isoformat(),
        "since": since.isoformat(),
        "zone": studio.time_zone,
        "hours": studio.hours,
        "closures": [
            [closure.first_day.isoformat(), closure.last_day.isoformat()]
            for closure in Closure.objects.touching(since, today + timedelta(DAYS_AHEAD))
        ],
        "makers": makers,
        "places": list(Place.objects.order_by("id").values("id", "capacity")),
        "jobs": [{"id": job.pk, "van": _iso(job.van_day)} for job in jobs],
        "stages": _stages(stages, {maker["id"] for maker in makers}),
    }


def _since(today: date, due: list[date]) -> date:
    """From where on days must be counted."""
    usual, most = today - timedelta(DAYS_BACK), today - timedelta(MOST_DAYS_BACK)
    return max(most, min([usual, *due]))


def fingerprint(facts: Facts) -> str:
    """SHA-256 of the facts in one spelling, as 64 hexadecimal digits."""
    return sha256(json.dumps(facts, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def _maker(person: Person, since: date, today: date) -> dict[str, Any]:
    """Whoever is not in the plan, yet was given a stage, does that and nothing else."""
    skills = [kind.pk for kind in person.skills.all()]
    until = today + timedelta(DAYS_AHEAD)
    return {
        "id": person.pk,
        "hours": person.hours,
        "skills": (sorted(skills) or None) if person.in_plan else [],
        "away": [
            [away.first_day.isoformat(), away.last_day.isoformat()]
            for away in person.absences.all()
            if away.last_day >= since and away.first_day <= until
        ],
        "longer": [
            [more.day.isoformat(), more.starts.isoformat("minutes"), more.ends.isoformat("minutes")]
            for more in person.overtime.all()
            if since <= more.day < until
        ],
    }


def _stages(stages: list[Stage], makers: Collection[int]) -> list[dict[str, Any]]:
    chosen: dict[int, list[int]] = defaultdict(list)
    for link in Stage.follows.through.objects.filter(from_stage__piece__job__closed_on=None):
        chosen[link.from_stage_id].append(link.to_stage_id)
    following = followed(stages, chosen)
    photos = _photos()
    stuck: dict[int, list[tuple[datetime, datetime | None]]] = defaultdict(list)
    rows = Stuck.objects.filter(stage__piece__job__closed_on=None).order_by("at", "id")
    for key, at, answered_at in rows.values_list("stage_id", "at", "answered_at"):
        stuck[key].append((at, answered_at))
    shut = {key: [(at, until or EVER) for at, until in spans] for key, spans in stuck.items()}
    at_it = spent(_events(stages, photos, makers), shut)
    done = {stage.pk for stage in stages if stage.done_at}
    return [
        _stage(stage, _waits_for(stage.pk, following, done), photos.get(stage.pk, []), at_it.get(stage.pk, []), makers)
        | {"stuck": any(until is None for _, until in stuck[stage.pk])}
        for stage in stages
    ]


Photos = dict[int, list[tuple[datetime, int]]]  # that begin it, by stage: when, and by whom


def _photos() -> Photos:
    found: Photos = defaultdict(list)
    taken = Entry.objects.beginning().filter(stage__piece__job__closed_on=None).order_by("at", "id")
    for stage, at, by in taken.values_list("stage_id", "at", "by_id"):
        found[stage].append((at, by))
    return found


def _events(stages: list[Stage], photos: Photos, makers: Collection[int]) -> dict[int, list[Event]]:
    """By person; what nobody known is at is by the stage's own id, negative."""
    events: dict[int, list[Event]] = defaultdict(list)
    for stage in stages:
        nobody = stage.maker_id or -stage.pk
        taken = photos.get(stage.pk, [])
        for at, by in taken:
            events[by if by in makers else nobody].append(Event(at, stage.pk, done=False))
        if stage.left_said_at and not taken:
            events[nobody].append(Event(stage.left_said_at, stage.pk, done=False))
        if stage.done_at and stage.done_by_id:
            events[stage.done_by_id].append(Event(stage.done_at, stage.pk, done=True))
    return events


def _waits_for(stage: int, following: Followed, done: set[int]) -> list[int]:
    """What it follows; and behind those of them that were logged out of order, what is not done yet."""
    seen = set(following[stage])
    ask = list(seen & done)
    while ask:
        further = following[ask.pop()] - seen
        seen |= further
        ask += further & done
    return sorted(following[stage] | (seen - done - {stage}))


def _stage(
    stage: Stage, after: list[int], photos: list[tuple[datetime, int]], at_it: list[Span], makers: Collection[int]
) -> dict[str, Any]:
    told: dict[str, Any] = {
        "id": stage.pk,
        "job": stage.piece.job_id,
        "kind": stage.kind_id,
        "place": stage.place_id,
        "cure": stage.cure_min,
        "holds": stage.cure_holds,
        "after": after,
    }
    if stage.done_at:
        return told | {"done": stage.done_at.isoformat(), "by": stage.done_by_id}
    maker = stage.maker_id if stage.maker_id in makers else None
    if not maker and photos and photos[-1][1] in makers:
        maker = photos[-1][1]
    return told | {
        "added": stage.added_at.isoformat() if stage.added_at else None,
        "work": stage.work_min,
        "left": stage.left_min if stage.left_said_at else None,
        "left_said": stage.left_said_at.isoformat() if stage.left_said_at else None,
        "begun": photos[0][0].isoformat() if photos else None,
        "crew": stage.crew,
        "maker": maker,
        "given": bool(stage.maker_id),
        "due": _iso(stage.due_on),
        "at_it": [
            [one.person, one.since.isoformat(), None if one.until == EVER else one.until.isoformat()] for one in at_it
        ],
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
