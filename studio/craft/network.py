"""A shop laid out as lists of numbers, once, so that it can be walked and dispatched many times; and what is wrong with it.

What cannot be planned is left out and named as a problem. Nothing here raises, whatever a shop holds.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from graphlib import CycleError, TopologicalSorter

from studio.craft.places import Place
from studio.craft.stages import Done, Maker, Problem, Shop, Stage, Trouble
from studio.craft.workdays import Calendar

_PLANNED_ALL_THE_SAME = {Trouble.ZERO_HOURS, Trouble.OUT_OF_ORDER}


@dataclass(frozen=True, slots=True)
class Need:
    """What a stage asks for: stages that ask for the same can wait in one line.

    ``able``      who can do it, as indices of ``Network.makers``: those with the skill, and whom it is given to, skilled or
                  not, because whoever gave it knew
    ``crew``      how many of them it takes, at least one
    ``maker``     the index of whom it is given to, -1 for nobody
    ``place``     an index of ``Network.places``, -1 for anywhere
    ``calendar``  when at least one of whom it is given to, or else of those able, is there; the shop's own without makers
    ``most``      no crew can work more slots than this between now and the end of the grid
    """

    able: tuple[int, ...]
    crew: int
    maker: int
    place: int
    calendar: Calendar
    most: int


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Stages in an order in which none comes before what it follows; the lists below go by their index.

    ``follows``, ``followers``  the indices of what each follows directly, and of what follows it directly
    ``work``, ``cure``          slots, none below 0
    ``release``                 the slot before which it cannot start: now, ``not_before``, and stages done but still curing
    ``needs``, ``need``         the different needs, and the index of each stage's own
    ``makers``, ``places``      those that are there at all, by id
    """

    shop: Shop
    stages: tuple[Stage, ...]
    follows: tuple[tuple[int, ...], ...]
    followers: tuple[tuple[int, ...], ...]
    work: tuple[int, ...]
    cure: tuple[int, ...]
    release: tuple[int, ...]
    needs: tuple[Need, ...]
    need: tuple[int, ...]
    makers: tuple[Maker, ...]
    places: tuple[Place, ...]
    problems: tuple[Problem, ...]


def lay_out(shop: Shop) -> Network:
    """The network of all that can be planned, and the problems by stage. In which order ``shop`` holds things is no matter.

    A maker who is never there after now counts as gone, and a place that holds nothing as missing. A shop without any
    makers is laid out all the same, for its critical path; but nothing of it can be planned.
    """
    stages = {stage.id: stage for stage in sorted(shop.stages, key=lambda stage: stage.id)}
    done = {stage.id: stage for stage in shop.done}
    asks = _Asks(shop)
    order, rings = _in_order({stage.id: [i for i in stage.after if i in stages] for stage in stages.values()})
    problems = [
        *_out_of_order(shop.done, stages),
        *_in_rings(rings, stages),
        *(problem for stage in stages.values() for problem in asks.troubles(stage)),
        *_followed_by_mistake(stages, done),
    ]
    stuck = {problem.stage for problem in problems if problem.trouble not in _PLANNED_ALL_THE_SAME}
    problems += follow_trouble(map(stages.__getitem__, order), stuck)

    kept = tuple(stages[i] for i in order if i not in stuck)
    index = {stage.id: number for number, stage in enumerate(kept)}
    follows = tuple(tuple(sorted({index[i] for i in stage.after if i in index})) for stage in kept)
    followers: list[list[int]] = [[] for _ in kept]
    for number, earlier in enumerate(follows):
        for other in earlier:
            followers[other].append(number)
    needs = {need: number for number, need in enumerate(dict.fromkeys(map(asks.need, kept)))}
    return Network(
        shop=shop,
        stages=kept,
        follows=follows,
        followers=tuple(map(tuple, followers)),
        work=tuple(max(stage.work, 0) for stage in kept),
        cure=tuple(max(stage.cure, 0) for stage in kept),
        release=tuple(_release(shop, stage, done) for stage in kept),
        needs=tuple(needs),
        need=tuple(needs[asks.need(stage)] for stage in kept),
        makers=asks.makers,
        places=asks.places,
        problems=in_turn(problems),
    )


def in_turn(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda problem: (problem.stage, problem.trouble)))


def _in_order(after: Mapping[str, Sequence[str]]) -> tuple[list[str], list[tuple[str, ...]]]:
    """Ids so that none comes before what it follows, and the rings among them that had to be taken out for that."""
    rings: list[tuple[str, ...]] = []
    while True:
        out = {stage for ring in rings for stage in ring}
        graph = {stage: sorted(set(ids) - out) for stage, ids in after.items() if stage not in out}
        try:
            return list(TopologicalSorter(graph).static_order()), rings
        except CycleError as error:
            ring = error.args[1][1:]  # each is followed by the next, and the first stands at the end too
            first = ring.index(min(ring))
            rings.append((*ring[first:], *ring[:first]))


def _in_rings(rings: Sequence[tuple[str, ...]], stages: Mapping[str, Stage]) -> Iterator[Problem]:
    for ring in rings:
        for number, stage in enumerate(ring):
            yield Problem(Trouble.FOLLOWS_ITSELF, stage, stages[stage].job, ring[number:] + ring[:number])


def _out_of_order(done: Sequence[Done], stages: Mapping[str, Stage]) -> Iterator[Problem]:
    for stage in done:
        if others := tuple(sorted({*stage.after} & stages.keys())):
            yield Problem(Trouble.OUT_OF_ORDER, stage.id, stage.job, others)


def _followed_by_mistake(stages: Mapping[str, Stage], done: Mapping[str, Done]) -> Iterator[Problem]:
    for stage in stages.values():
        if missing := tuple(sorted({*stage.after} - stages.keys() - done.keys())):
            yield Problem(Trouble.FOLLOWS_NOTHING, stage.id, stage.job, missing)


def follow_trouble(in_order: Iterable[Stage], stuck: set[str]) -> Iterator[Problem]:
    """What cannot be planned because it comes after ``stuck``, to which it is added."""
    for stage in in_order:
        others = stuck.intersection(stage.after)
        if others and stage.id not in stuck:
            stuck.add(stage.id)
            yield Problem(Trouble.FOLLOWS_TROUBLE, stage.id, stage.job, tuple(sorted(others)))


def _release(shop: Shop, stage: Stage, done: Mapping[str, Done]) -> int:
    return max(shop.now, 0, stage.not_before, *(done[i].at + done[i].cure for i in stage.after if i in done))


class _Asks:
    """What stages ask for, each different need reckoned once."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.makers = tuple(sorted(filter(self._is_there, shop.makers), key=lambda maker: maker.id))
        self.places = tuple(sorted((place for place in shop.places if place.capacity > 0), key=lambda place: place.id))
        self._maker = {maker.id: number for number, maker in enumerate(self.makers)}
        self._place = {place.id: number for number, place in enumerate(self.places)}
        self._needs: dict[tuple[str, str, int, str], Need] = {}
        self._somebody: dict[tuple[int, ...], Calendar] = {}

    def _is_there(self, maker: Maker) -> bool:
        return maker.calendar.next_open(max(self.shop.now, maker.free_from)) < maker.calendar.beyond

    def need(self, stage: Stage) -> Need:
        ask = (stage.skill, stage.place, stage.crew, stage.maker)
        if ask not in self._needs:
            given, crew = self._maker.get(stage.maker, -1), max(stage.crew, 1)
            able = tuple(i for i, maker in enumerate(self.makers) if i == given or maker.can(stage.skill))
            self._needs[ask] = Need(
                able=able,
                crew=crew,
                maker=given,
                place=self._place.get(stage.place, -1),
                calendar=self._when((given,) if given >= 0 else able),
                most=self._most(able, crew, given),
            )
        return self._needs[ask]

    def _when(self, able: tuple[int, ...]) -> Calendar:
        if able not in self._somebody:
            different = {self.makers[i].calendar.open: self.makers[i].calendar for i in able}.values()
            self._somebody[able] = reduce(Calendar.either, different) if able else self.shop.calendar
        return self._somebody[able]

    def _most(self, able: tuple[int, ...], crew: int, given: int) -> int:
        now, end = self.shop.now, self.shop.grid.slots
        if not self.makers:
            return self.shop.calendar.worked(now, end)
        left = {i: self.makers[i].calendar.worked(max(now, self.makers[i].free_from), end) for i in able}
        crew_left = sorted(left.values(), reverse=True)[crew - 1 : crew]
        return min([*crew_left, left.get(given, end)]) if crew_left else 0

    def troubles(self, stage: Stage) -> Iterator[Problem]:
        """All that is wrong with a stage by itself."""
        need = self.need(stage)

        def problem(trouble: Trouble, number: int = 0) -> Problem:
            return Problem(trouble, stage.id, stage.job, number=number)

        if stage.work <= 0:
            yield problem(Trouble.ZERO_HOURS)
        if stage.place and need.place < 0:
            yield problem(Trouble.NO_SUCH_PLACE)
        if stage.maker and need.maker < 0:
            yield problem(Trouble.MAKER_GONE)
        elif self.shop.makers and not need.able:
            yield problem(Trouble.NOBODY_CAN)
        elif self.shop.makers and len(need.able) < need.crew:
            yield problem(Trouble.TOO_FEW_CAN, len(need.able))
        elif stage.work > need.most:
            yield problem(Trouble.TOO_LONG)
