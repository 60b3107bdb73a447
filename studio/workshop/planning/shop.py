"""The facts as the craft wants them: a shop at one moment, in slots of a grid that reaches two years ahead."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from math import ceil
from typing import Any
from zoneinfo import ZoneInfo

from studio.craft.places import Place
from studio.craft.stages import Done, Job, Maker, Shop, Stage
from studio.craft.workdays import SLOT_MIN, Calendar, Grid, calendar
from studio.workshop.models import Week
from studio.workshop.planning.facts import DAYS_AHEAD, Facts

LOGGED_AHEAD = "logged in the future"


def shop_of(facts: Facts, now: datetime) -> Shop:
    day = date.fromisoformat(facts["day"])
    since = date.fromisoformat(facts["since"])
    grid = Grid(ZoneInfo(facts["zone"]), since, (day - since).days + DAYS_AHEAD)
    moment = grid.slot_up(now)
    shut = frozenset(_days(facts["closures"], grid))
    shop_hours = _hours(facts["hours"])
    opening = _calendar(grid, shop_hours, shut)
    begins = _begins(grid, opening, day, moment)
    busy = _busy_until(facts, grid, begins, moment)
    makers = {
        told["id"]: _maker(told, grid, shop_hours, shut, *busy.get(told["id"], (0, ""))) for told in facts["makers"]
    }
    left = [told for told in facts["stages"] if "done" not in told]
    around = _Around(grid, begins, opening, opening.next_open(grid.starts(day + timedelta(1))), makers)
    return Shop(
        grid=grid,
        now=begins,
        calendar=opening,
        ordinary=_calendar(grid, shop_hours),
        makers=tuple(makers.values()),
        places=tuple(Place(str(told["id"]), told["capacity"]) for told in facts["places"]),
        jobs=tuple(Job(str(told["id"]), _after(grid, told["van"])) for told in facts["jobs"]),
        stages=tuple(_stage(told, around) for told in left),
        done=tuple(_done(told, grid, moment) for told in facts["stages"] if "done" in told),
    )


@dataclass(frozen=True)
class _Around:
    """``tomorrow``: the slot at which the shop next opens after today."""

    grid: Grid
    begins: int
    opening: Calendar
    tomorrow: int
    makers: dict[int, Maker]


def _begins(grid: Grid, opening: Calendar, day: date, moment: int) -> int:
    """A plan begins with its day, so that within the day only what is logged or changed moves it, never the clock alone; it
    begins at this moment once the shop is shut for the day."""
    open_still = opening.worked(moment, grid.starts(day + timedelta(1)))
    return min(grid.starts(day), moment) if open_still else moment


def _busy_until(facts: Facts, grid: Grid, begins: int, moment: int) -> dict[int, tuple[int, str]]:
    """By person: whoever finished something today was at it until then."""
    busy: dict[int, tuple[int, str]] = {}
    for told in facts["stages"]:
        if "done" in told and begins < (at := grid.slot_up(datetime.fromisoformat(told["done"]))) <= moment:
            busy[told["by"]] = max((at, str(told["id"])), busy.get(told["by"], (0, "")))
    return busy


def logged_ahead(facts: Facts, now: datetime) -> list[dict[str, Any]]:
    """Stages that were logged at an hour that has not come: the clock was wrong then, or is now."""
    return [told for told in facts["stages"] if "done" in told and datetime.fromisoformat(told["done"]) > now]


def _days(spans: Iterable[list[str]], grid: Grid) -> Iterable[date]:
    """Those of them that lie on the grid."""
    first_day, days = grid.first.toordinal(), grid.days
    for first, last in spans:
        begins = max(date.fromisoformat(first).toordinal(), first_day)
        ends = min(date.fromisoformat(last).toordinal(), first_day + days - 1)
        yield from map(date.fromordinal, range(begins, ends + 1))


_Week = tuple[tuple[tuple[time, time], ...], ...]
_Longer = tuple[tuple[date, time, time], ...]


def _hours(week: Week) -> _Week:
    return tuple(tuple((time.fromisoformat(start), time.fromisoformat(end)) for start, end in spans) for spans in week)


@lru_cache(maxsize=16)  # half a megabyte each; what is tried out leaves most of them as they are
def _calendar(grid: Grid, week: _Week, closed: frozenset[date] = frozenset(), longer: _Longer = ()) -> Calendar:
    return calendar(grid, dict(enumerate(week)), closed=closed, overtime=longer)


def _maker(
    told: dict[str, Any], grid: Grid, shop_hours: _Week, shut: frozenset[date], free_from: int, busy_with: str
) -> Maker:
    longer = tuple(
        (date.fromisoformat(day), time.fromisoformat(start), time.fromisoformat(end))
        for day, start, end in told["longer"]
    )
    hours = shop_hours if told["hours"] is None else _hours(told["hours"])
    when = _calendar(grid, hours, shut | frozenset(_days(told["away"], grid)), longer)
    skills = None if told["skills"] is None else frozenset(map(str, told["skills"]))
    return Maker(str(told["id"]), when, skills, free_from, busy_with)


def _stage(told: dict[str, Any], around: _Around) -> Stage:
    since = told["left_said"] or told["begun"]
    at_it = around.grid.slot_up(datetime.fromisoformat(since)) if since else 0
    work = _slots(told["work"] if told["left"] is None else told["left"])
    if since and (work or told["left"] == 0):
        # Counted from when somebody began, or said how much is left; whatever is not logged is not over.
        work = max(1, work - _worked(told, max(0, at_it), around))
    return Stage(
        id=str(told["id"]),
        job=str(told["job"]),
        work=work,
        after=tuple(map(str, told["after"])),
        skill=str(told["kind"]),
        place=str(told["place"] or ""),
        crew=told["crew"],
        cure=_slots(told["cure"]),
        holds=told["holds"],
        maker=str(told["maker"] or ""),
        begun=bool(since),
        # Whoever may answer today, it goes on tomorrow at the earliest; and it is asked again each day.
        not_before=around.tomorrow if told["stuck"] else max(0, at_it if since else _added(told, around.grid)),
        held=told["stuck"],
        due=_after(around.grid, told["due"]),
    )


def _added(told: dict[str, Any], grid: Grid) -> int:
    """Nobody was at it before it was set out; a plan begins with its day, and would take this morning for it."""
    return grid.slot_up(datetime.fromisoformat(told["added"])) if told["added"] else 0


def _worked(told: dict[str, Any], since: int, around: _Around) -> int:
    """How much was worked from then until the plan begins."""
    slot_up, found = around.grid.slot_up, 0
    for person, first, last in told["at_it"]:
        maker = around.makers.get(person)
        start = max(since, slot_up(datetime.fromisoformat(first)))
        end = min(around.begins, slot_up(datetime.fromisoformat(last))) if last else around.begins
        found += max(0, (maker.calendar if maker else around.opening).worked(start, end)) if start < end else 0
    return found


def _done(told: dict[str, Any], grid: Grid, moment: int) -> Done:
    return Done(
        id=str(told["id"]),
        job=str(told["job"]),
        at=min(grid.slot_up(datetime.fromisoformat(told["done"])), moment),
        cure=_slots(told["cure"]),
        place=str(told["place"] or ""),
        holds=told["holds"],
        after=tuple(map(str, told["after"])),
    )


def _slots(minutes: int) -> int:
    return ceil(minutes / SLOT_MIN)


def _after(grid: Grid, day: str | None) -> int | None:
    """The first slot after a day, None for no day; a day beyond the grid counts as its last."""
    last = grid.first.toordinal() + grid.days - 1
    return grid.starts(date.fromordinal(min(date.fromisoformat(day).toordinal(), last) + 1)) if day else None
