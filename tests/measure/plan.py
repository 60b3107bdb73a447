"""What a plan costs, measured: of 600 stages over one bare pass of the same network, of ten times the jobs, and of its page.

    python -m tests.measure.plan

Reads the seeded shops beside the checkout. ``plan`` over ``pass``: medians of 21 pairs in turn of a plan of a network that is
laid out, and of the twelve frozen lines of ``plan_pass``; of three shops the worst is printed. Growth: the same plan with
ten times the jobs and the same makers, over the plan of the shop it grew from. ``first`` is a plan of a network never planned
before, with all that is put together once; ``laid out`` and ``calendars`` are what comes before it. The last line is JSON.
"""

import importlib.util
import json
import math
import time
from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any
from zoneinfo import ZoneInfo

from studio.craft.network import Network, lay_out
from studio.craft.places import Place
from studio.craft.plan import plan
from studio.craft.stages import Job, Maker, Shop, Stage
from studio.craft.workdays import SLOT_MIN, Grid, calendar
from tests.measure.deadlines_page import page_figures
from tests.measure.plan_pass import forward_pass
from tests.measure.up import table

SHOPS = Path(__file__).resolve().parent.parent.parent.parent / "shared" / "data" / "planning" / "shops.py"
SEEDS = ((9, 67), (13, 64), (15, 71))  # seed and jobs; 600 stages each
PAIRS = 21
PASSES = 20  # in a row, so that a pass lasts long enough to be timed
DAYS, DAYS_TEN_TIMES = 500, 4_000

Told = Mapping[str, Any]


def told_shop(path: Path, seed: int, jobs: int) -> Told:
    spec = importlib.util.spec_from_file_location("shops", path)
    if spec is None or spec.loader is None:
        raise RuntimeError(f"{path.name} is not beside this checkout.")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    told: Told = module.shop(seed, jobs)
    return told


def shop_of(told: Told, days: int) -> Shop:
    """Hours are those of the whole crew together, so each of two has half of them."""
    now = datetime.fromisoformat(told["now"]).replace(tzinfo=ZoneInfo("Europe/London"))
    grid = Grid(ZoneInfo("Europe/London"), now.date(), days)
    shut = frozenset(map(date.fromisoformat, told["closures"]))
    return Shop(
        grid=grid,
        now=grid.slot_up(now),
        calendar=_hours(grid, range(5), shut),
        ordinary=_hours(grid, range(5), frozenset()),
        makers=tuple(_maker(grid, one, shut) for one in told["makers"]),
        places=tuple(Place(one["id"], one["capacity"]) for one in told["places"]),
        jobs=tuple(
            Job(one["id"], grid.starts(date.fromisoformat(one["van"]) + timedelta(days=1))) for one in told["jobs"]
        ),
        stages=tuple(
            Stage(
                id=one["id"],
                job=one["job"],
                work=math.ceil(one["hours"] * 60 / SLOT_MIN / one["crew"]),
                after=tuple(one["after"]),
                skill=one["skill"],
                place=one["place"],
                crew=one["crew"],
                cure=round(one["cure_h"] * 60 / SLOT_MIN),
                holds=one["holds_place"],
            )
            for one in told["stages"]
        ),
    )


def _hours(grid: Grid, weekdays: Any, shut: frozenset[date]) -> Any:
    start, end = (datetime.strptime(hour, "%H:%M").time() for hour in ("08:00", "17:00"))  # noqa: DTZ007 - a time of day
    return calendar(grid, dict.fromkeys(weekdays, ((start, end),)), closed=shut)


def _maker(grid: Grid, one: Told, shut: frozenset[date]) -> Maker:
    away = frozenset(map(date.fromisoformat, one["absent"]))
    return Maker(one["id"], _hours(grid, one["weekdays"], shut | away), frozenset(one["skills"]))


def figures(seed: int, jobs: int) -> tuple[dict[str, Any], float, float]:
    """One line of the table, plan over pass, and growth."""
    few, few_built = _built(seed, jobs, DAYS)
    many, many_built = _built(seed, jobs * 10, DAYS_TEN_TIMES)
    order, work, cure = range(len(few.stages)), few.work, few.cure

    def bare() -> None:
        for _ in range(PASSES):
            forward_pass(order, few.follows, work, cure)

    first, first_many = _seconds(lambda: plan(few)), _seconds(lambda: plan(many))
    plan(few)
    pairs = [(_seconds(lambda: plan(few)), _seconds(bare) / PASSES) for _ in range(PAIRS)]
    planned, passed = (median(times) for times in zip(*pairs, strict=True))
    plan(many)
    planned_many = median(_seconds(lambda: plan(many)) for _ in range(PAIRS))
    line = {
        "shop": f"{seed}, {jobs}",
        "stages": len(few.stages),
        "pass ms": _ms(passed),
        "plan ms": _ms(planned),
        "over": f"{planned / passed:.1f}",
        "first ms": _ms(first),
        "calendars + laid out ms": few_built,
        "ten times": len(many.stages),
        "plan ms ×10": _ms(planned_many),
        "growth": f"{planned_many / planned:.1f}",
        "first ms ×10": _ms(first_many),
        "built ms ×10": many_built,
    }
    return line, planned / passed, planned_many / planned


def _built(seed: int, jobs: int, days: int) -> tuple[Network, str]:
    told = told_shop(SHOPS, seed, jobs)
    began = time.perf_counter()
    shop = shop_of(told, days)
    between = time.perf_counter()
    network = lay_out(shop)
    ended = time.perf_counter()
    planned = len(
        plan(lay_out(shop)).placed
    )  # of a network of its own, so that the first plan of this one is still to come
    if network.problems or planned != len(shop.stages):
        raise RuntimeError(f"Of shop({seed}, {jobs}) {planned} of {len(shop.stages)} stages could be planned.")
    return network, f"{_ms(between - began)} + {_ms(ended - between)}"


def _seconds(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:.2f}"


def main() -> None:
    if not SHOPS.exists():
        raise SystemExit("The seeded shops are not beside this checkout, so nothing was measured.")
    lines, over, growth = zip(*(figures(seed, jobs) for seed, jobs in SEEDS), strict=True)
    print(table([list(lines[0]), *(list(line.values()) for line in lines)]))
    found = {"plan600_over_pass": round(max(over), 1), "growth10x": round(max(growth), 1)}
    print(json.dumps(found | page_figures()))


if __name__ == "__main__":
    main()
