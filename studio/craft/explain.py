"""Read off a plan: when each job is ready, how that stands to its van, why it is not sooner, and what cannot wait."""

import sys
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta

from studio.craft.binding import Trails
from studio.craft.causes import Cause, share, waits
from studio.craft.ends import Deadline, Ends
from studio.craft.network import Network
from studio.craft.plan import plan as make_plan
from studio.craft.stages import Plan, Shop, Stage


@dataclass(frozen=True, slots=True)
class Reading:
    """How a job stands.

    ``ready``      the slot by which its last stage is done; where it ends by curing, when the shop is next open, for somebody
                   must see it. None where the plan has not all of it
    ``ready_day``  the local day of that: of the last quarter hour worked, so that Friday's closing time is Friday
    ``van``        the day of its van
    ``hand``       worked days between the two, negative when over; None without a van, or if not known when it is ready
    ``over``       ready on a later day than the van's. ``hand`` is 0 then if the shop is not open in between
    ``cut``        over by more than ``hand`` says, as the grid does not hold all the days in between
    ``causes``     at most three, the biggest first. Over: the gap, twice the days over, but at least one half day, is their sum.
                   Else, or where the gap is not known, what it waits for
    ``chain``      the stages that bind, first to last
    """

    job: str
    ready: int | None = None
    ready_day: date | None = None
    van: date | None = None
    hand: int | None = None
    over: bool = False
    causes: tuple[Cause, ...] = ()
    chain: tuple[str, ...] = ()
    cut: bool = False


def explain(shop: Shop, plan: Plan, job_id: str) -> Reading:
    """One job of ``shop``. For many ask ``explain_all``. An id that the shop does not know raises KeyError."""
    return explain_all(shop, plan)[job_id]


def explain_all(shop: Shop, plan: Plan) -> dict[str, Reading]:
    """All jobs of ``shop``, by id, explained by a ``plan`` that was made from it."""
    ends, trails = Ends(shop, plan), Trails(shop, plan)
    return {job.id: _read(shop, job.id, "", job.due, ends, trails) for job in shop.jobs}


def explain_own(shop: Shop, plan: Plan) -> dict[str, Reading]:
    """The stages that have a day of their own, by id: each read as a job that ends with it, and leaves on that day."""
    own = [stage for stage in shop.stages if stage.due is not None]
    if not own:
        return {}
    ends, trails = Ends(shop, plan), Trails(shop, plan)
    return {stage.id: _read(shop, stage.job, stage.id, stage.due, ends, trails) for stage in own}


def _read(shop: Shop, job: str, stage: str, due: int | None, ends: Ends, trails: Trails) -> Reading:
    """Of a ``stage``; without one, of the job."""
    last = ends.end(job, stage)
    van = None if due is None else ends.deadline(job, stage, due)
    if last is None:
        return Reading(job, van=van.day if van else None)
    ready, ready_day = ends.ready(last)
    end = shop.grid.starts(ready_day + timedelta(1)) if last.end < last.cured else ready
    trail = trails.back(last.stage, ready, end, due)
    if van is None:
        return Reading(job, ready, ready_day, causes=waits(trail.lost, trails.half), chain=trail.chain)
    if van.over and not van.cut:
        causes = share(trail.lost, trails.half, max(-2 * (van.hand or 0), 1), last.stage)
    else:
        causes = waits(trail.lost, trails.half)
    return Reading(job, ready, ready_day, van.day, van.hand, van.over, causes, trail.chain, van.cut)


def deadlines(shop: Shop, plan: Plan) -> tuple[Deadline, ...]:
    """The stages that have a day of their own, by that day. Whether the plan has what comes after them is no matter."""
    ends = Ends(shop, plan)
    found = [ends.deadline(stage.job, stage.id, stage.due) for stage in shop.stages if stage.due is not None]
    return tuple(sorted(found, key=lambda deadline: (deadline.day, deadline.stage)))


def must_start(network: Network, plan: Plan, day: date) -> list[str]:
    """The stages that cannot wait, those first after which most is missed.

    A stage cannot wait if the ``plan`` of the ``network`` begins it on ``day``, nobody is at it yet, and the plan without that
    misses a deadline of its job that this one does not, or misses it by a later day: the van, or the day of one of its
    stages. What would befall other jobs is no matter. Without that: it may begin only when the shop next opens after the day;
    and it is missed both if others may take its turn, and if what the plan has after it, with the same hands or in the same
    place, waits as long. Else a long stage that goes first would be the reason, or one that need not wait.
    """
    shop = network.shop
    first, after = shop.grid.starts(day), shop.grid.starts(day + timedelta(1))
    later = shop.calendar.next_open(after)
    planned = _by_job(shop, plan)
    missed: dict[str, int] = {}
    for number, stage in enumerate(network.stages):
        placed = plan.placed.get(stage.id)
        if placed and not stage.begun and first <= placed.start < min(after, placed.end) and planned[stage.job]:
            alone = (*network.release[:number], later, *network.release[number + 1 :])
            hands = _misses(network, planned[stage.job], stage.job, alone)
            if hands:
                hands = _misses(network, planned[stage.job], stage.job, _put_off(network, plan, stage, after, later))
            if hands:
                missed[stage.id] = min(hands)
    return sorted(missed, key=lambda stage: (missed[stage], stage))


def _misses(network: Network, planned: list[Deadline], job: str, release: tuple[int, ...]) -> list[int]:
    """By how much the deadlines of a job are missed with another ``release``, those that are not missed as ``planned``."""
    then = _by_job(network.shop, make_plan(replace(network, release=release)))[job]
    return [hand for each in zip(planned, then, strict=True) if (hand := _missed(*each)) is not None]


def _put_off(network: Network, plan: Plan, stage: Stage, after: int, later: int) -> tuple[int, ...]:
    """The releases of the ``network`` with ``stage`` put off until ``later``, and with it what would take its turn."""
    first = plan.placed[stage.id]
    found = []
    for other, release in zip(network.stages, network.release, strict=True):
        placed = plan.placed.get(other.id)
        behind = placed and not other.begun and placed.start >= first.start
        if placed and behind:
            same = not set(first.makers).isdisjoint(placed.makers) or (stage.place and stage.place == other.place)
            release = max(release, later if same or placed.start >= after else placed.start)
        found.append(release)
    return tuple(found)


def _by_job(shop: Shop, plan: Plan) -> dict[str, list[Deadline]]:
    ends = Ends(shop, plan)
    found: dict[str, list[Deadline]] = defaultdict(list)
    for job in shop.jobs:
        if job.due is not None:
            found[job.id].append(ends.deadline(job.id, "", job.due))
    for deadline in deadlines(shop, plan):
        found[deadline.job].append(deadline)
    return found


def _missed(now: Deadline, then: Deadline) -> int | None:
    """How a deadline stands ``then`` that is missed, and by a later day than ``now``; None for any other."""
    if now.ready_day is None:
        return None
    if then.ready_day is None or then.hand is None:
        return -sys.maxsize
    return then.hand if then.over and then.ready_day > now.ready_day else None
