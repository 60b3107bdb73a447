"""Small shops for tests, built by hand or drawn by hypothesis."""

from datetime import date, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from studio.craft.places import Place
from studio.craft.stages import Done, Job, Maker, Shop, Stage
from studio.craft.workdays import Calendar, Grid, Hours, always, calendar

LONDON = ZoneInfo("Europe/London")
# A Monday each. Clocks go forward on 29 March 2026 and back on 25 October 2026; in June they stay.
MONDAYS = (date(2026, 3, 16), date(2026, 6, 1), date(2026, 10, 12))
DAYS = 56

OFFICE: Hours = {day: ((time(8), time(17)),) for day in range(5)}
WEEKS: dict[str, Hours] = {
    "office": OFFICE,
    "with lunch": {day: ((time(8), time(12)), (time(13), time(17))) for day in range(5)},
    "mornings": {day: ((time(8), time(12)),) for day in range(5)},
    "afternoons": {day: ((time(12), time(17)),) for day in range(5)},
    "three days": {day: ((time(9), time(18)),) for day in (0, 2, 3)},
    "nights": {day: ((time(22), time(6)),) for day in (2, 5, 6)},
    "all the time": {day: ((time(0), time(0)),) for day in range(7)},
    "never": {},
}


@lru_cache(maxsize=4096)
def hours(grid: Grid, week: str, away: frozenset[int] = frozenset()) -> Calendar:
    """The calendar of one of ``WEEKS``; ``away`` are days of the grid."""
    return calendar(grid, WEEKS[week], closed=frozenset(grid.first + timedelta(day) for day in away))


def shop(
    *stages: Stage,
    makers: tuple[Maker, ...] = (),
    places: tuple[Place, ...] = (),
    jobs: tuple[Job, ...] = (),
    done: tuple[Done, ...] = (),
    now: int = 0,
    slots: int = 960,
) -> Shop:
    """A shop that never closes, of whole days of 96 slots, in which slots are the unit of everything."""
    grid = Grid(ZoneInfo("UTC"), MONDAYS[1], slots // 96)
    return Shop(grid, now, always(grid), always(grid), makers, places, jobs, stages, done)


def hand(name: str, *skills: str, slots: int = 960, free_from: int = 0) -> Maker:
    """Somebody who is always there; without skills they can do everything."""
    return Maker(name, Calendar(b"\1" * slots), frozenset(skills) or None, free_from)


def there(name: str, spans: str, *skills: str) -> Maker:
    """Somebody who is there as ``spans`` says: a slot for each sign, "#" for there; nothing after them."""
    is_open = bytes(sign == "#" for sign in spans)
    return Maker(name, Calendar(is_open + bytes(960 - len(is_open))), frozenset(skills) or None)


SKILLS = ("carve", "mould", "paint")
PLACES = (Place("bay"), Place("booth", 2), Place("floor", 3))
JOBS = ("boot", "pretzel", "trail")


@st.composite
def makers(draw: st.DrawFn, grid: Grid, now: int, weeks: tuple[str, ...], absences: bool) -> tuple[Maker, ...]:
    names = draw(st.permutations(("Ada", "Bo", "Ines", "Kit")))[: draw(st.integers(1, 4))]
    away = st.frozensets(st.integers(0, DAYS - 1), max_size=6 if absences else 0)
    return tuple(
        Maker(
            name,
            hours(grid, draw(st.sampled_from(weeks)), draw(away)),
            draw(st.none() | st.frozensets(st.sampled_from(SKILLS))),
            draw(st.sampled_from((0, 0, 0, now + 50))),
        )
        for name in names
    )


@st.composite
def shops(
    draw: st.DrawFn, *, monday: date | None = None, weeks: tuple[str, ...] = tuple(WEEKS), absences: bool = True
) -> Shop:
    """Up to four makers, three places and ten stages of three jobs; some of it troubled, most of it not."""
    grid = Grid(LONDON, monday or draw(st.sampled_from(MONDAYS)), DAYS)
    now = draw(st.sampled_from((0, 32, 700)) | st.integers(0, 1400))
    people = draw(makers(grid, now, weeks, absences))
    done = tuple(
        Done(
            f"done {number}",
            draw(st.sampled_from(JOBS)),
            at=now - draw(st.integers(0, 60)),
            cure=draw(st.sampled_from((0, 40, 200))),
            place=draw(st.sampled_from(("", "bay", "booth", "gone"))),
            holds=draw(st.booleans()),
        )
        for number in range(draw(st.integers(0, 3)))
    )
    names = draw(st.permutations([f"stage {number}" for number in range(draw(st.integers(0, 10)))]))
    before = [stage.id for stage in done]
    stages: list[Stage] = []
    for name in names:
        after = draw(st.sets(st.sampled_from(before), max_size=2)) if before else set()
        before.append(name)
        stages.append(
            Stage(
                name,
                draw(st.sampled_from(JOBS)),
                work=draw(st.sampled_from((0, 1, 4, 12, 30, 60)) | st.integers(1, 40)),
                after=tuple(after),
                skill=draw(st.sampled_from(("", "", *SKILLS))),
                place=draw(st.sampled_from(("", *(place.id for place in PLACES)))),
                crew=draw(st.sampled_from((1, 1, 1, 2, 2, 3))),
                cure=draw(st.sampled_from((0, 0, 3, 48, 200))),
                holds=draw(st.booleans()),
                maker=draw(st.sampled_from(("", "", "", "", *(maker.id for maker in people)))),
                begun=draw(st.sampled_from((False, False, True))),
                not_before=draw(st.sampled_from((0, 0, 0, now + 100, now + 700))),
                due=draw(st.none() | st.integers(0, 3000)),
            )
        )
    jobs = tuple(Job(name, draw(st.none() | st.integers(0, 4000))) for name in JOBS)
    shop_hours = hours(grid, "office")
    return Shop(grid, now, shop_hours, shop_hours, people, PLACES, jobs, tuple(draw(st.permutations(stages))), done)
