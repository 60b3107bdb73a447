"""Draws a plan of the record as it is, and spells it as plain JSON for ``answer`` to read."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from studio.craft.causes import Cause
from studio.craft.explain import Reading, explain_all, explain_own, must_start
from studio.craft.network import lay_out
from studio.craft.plan import plan
from studio.craft.stages import Plan as Drawn
from studio.craft.stages import Shop
from studio.workshop.models import Plan
from studio.workshop.planning.answer import FORM
from studio.workshop.planning.facts import Facts, fingerprint, gather
from studio.workshop.planning.helps import Act, Help, helps, longer_days
from studio.workshop.planning.shop import LOGGED_AHEAD, logged_ahead, shop_of


@dataclass(frozen=True)
class Answer:
    """What the duty keeps: ``told`` is plain JSON."""

    facts: str
    made_at: datetime
    told: dict[str, Any]


def draw(now: datetime) -> Answer | None:
    """A new plan of the record as it is; None where the newest was made from the same facts on the same day."""
    facts = gather(now)
    print_of_them = fingerprint(facts)
    if Plan.objects.filter(facts=print_of_them, answer__form=FORM).exists():
        return None
    return Answer(print_of_them, now, _answer(facts, now))


def _answer(facts: Facts, now: datetime) -> dict[str, Any]:
    shop = shop_of(facts, now)
    network = lay_out(shop)
    drawn = plan(network)
    readings = explain_all(shop, drawn)
    problems = [_problem(one.trouble, one.job, one.stage, one.others, one.number) for one in drawn.problems]
    problems += [_problem(LOGGED_AHEAD, one["job"], one["id"]) for one in logged_ahead(facts, now)]
    own = explain_own(shop, drawn)
    stuck = {stage.id: stage.job for stage in shop.stages if stage.held}
    vans = {str(told["id"]): told["van"] for told in facts["jobs"]}
    days = {str(told["id"]): told["due"] for told in facts["stages"] if "due" in told}
    ends = {(job, ""): reading for job, reading in readings.items()}
    help_out = helps(facts, now, shop, drawn, ends | {(one.job, stage): one for stage, one in own.items()})
    return {
        "form": FORM,
        "day": facts["day"],
        "jobs": {
            job: _end(reading, vans[job], help_out.get((job, ""), ()), held=job in stuck.values())
            for job, reading in readings.items()
        },
        "stages": _stages(shop, drawn),
        "deadlines": {
            stage: _end(
                one,
                days[stage],
                help_out.get((one.job, stage), ()),
                held=not stuck.keys().isdisjoint(_behind(stage, shop)),
            )
            for stage, one in own.items()
        },
        "longer": {
            one.subject: longer_days(facts, one.subject)
            for found in help_out.values()
            for one in found
            if one.act is Act.LONGER
        },
        "must_start": [int(stage) for stage in must_start(network, drawn, date.fromisoformat(facts["day"]))],
        "problems": problems,
    }


def _behind(stage: str, shop: Shop) -> set[str]:
    """A stage, and all that is to be done before it."""
    after = {one.id: one.after for one in shop.stages}
    found, ask = {stage}, [stage]
    while ask:
        further = [other for other in after.get(ask.pop(), ()) if other not in found]
        found.update(further)
        ask += further
    return found


def _end(reading: Reading, due: str | None, help_out: Iterable[Help], *, held: bool) -> dict[str, Any]:
    """``due`` as the record has it: the reading's own day is no later than the grid."""
    return {
        "job": int(reading.job),
        "due": due,
        "ready": reading.ready_day.isoformat() if reading.ready_day else None,
        "hand": reading.hand,
        "over": reading.over,
        "cut": reading.cut,
        "held": held,
        "causes": [_cause(cause) for cause in reading.causes],
        "helps": [[one.act.value, one.subject, one.half_days] for one in help_out],
    }


def _cause(cause: Cause) -> list[Any]:
    named = (cause.stage, cause.other, cause.other_job, cause.place, cause.maker)
    return [cause.why.value, cause.half_days, *(int(one) if one else None for one in named)]


def _stages(shop: Shop, drawn: Drawn) -> dict[str, list[Any]]:
    return {
        stage: [
            shop.grid.at(placed.start).isoformat(),
            shop.grid.at(placed.end).isoformat(),
            shop.grid.at(placed.cured).isoformat(),
            [int(maker) for maker in placed.makers],
        ]
        for stage, placed in drawn.placed.items()
    }


def _problem(trouble: str, job: Any, stage: Any, others: tuple[Any, ...] = (), number: int = 0) -> list[Any]:
    return [
        str(trouble),
        int(job) if job else None,
        int(stage) if stage else None,
        [int(one) for one in others],
        number,
    ]
