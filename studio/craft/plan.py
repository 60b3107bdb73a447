"""The plan: whenever hands and a place come free, the most urgent stage that can start does.

Nobody waits who could start something, but for a more urgent stage that takes several who are all in: whoever of them is free
first begins nothing for some days that takes more than half a day; else those who rarely come free together would never begin it.
What has begun is not interrupted: it goes on whenever all of its crew are there, over nights and weekends, and they do nothing
else until it is over. Its place is taken that long, or until it has cured.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import lru_cache, reduce
from heapq import heapify, heappop, heappush
from itertools import repeat
from operator import add, or_

from studio.craft.crews import Crews
from studio.craft.network import Network, follow_trouble, in_turn
from studio.craft.slack import latest
from studio.craft.stages import Maker, Placed, Plan, Problem, Trouble, keeps_its_place


def plan(network: Network) -> Plan:
    """Where each stage stands, and what could not be planned.

    Of two that could start, the one goes first that somebody is at already; else the one that a deadline waits for; else the one
    that must start sooner, by its latest start; else the first by id.
    """
    board = _board(network)
    starts, ends, crews = board.dispatch(board.work, board.cure)
    cured, makers = map(add, ends, board.cure), map(board.crews.names.__getitem__, crews)
    # By tuple.__new__, because the class's own constructor takes three times as long.
    each = map(tuple.__new__, repeat(Placed), zip(board.ids, starts, ends, cured, makers, strict=True))
    placed = dict(zip(board.ids, each, strict=True))
    left = {stage for stage, crew in zip(board.ids, crews, strict=True) if not crew} if 0 in crews else set()
    if not left:
        return Plan(placed, network.problems)
    first = [stage for stage in network.stages if stage.id in left and left.isdisjoint(stage.after)]
    trouble = Trouble.TOO_LONG if network.makers else Trouble.NOBODY_CAN
    problems = [Problem(trouble, stage.id, stage.job) for stage in first]
    problems += follow_trouble(network.stages, {stage.id for stage in first})
    planned = {stage: where for stage, where in placed.items() if stage not in left}
    return Plan(planned, in_turn([*network.problems, *problems]))


# Slots, measured on seeded shops: more of the first, or less of the second, let more jobs miss their vans.
BRIEF = 16  # half a day of work: what somebody may begin who is kept for another stage
LONG = 5 * 96  # so long they are kept, and then no more


@lru_cache(maxsize=1)  # a network may be planned many times in a row
def _board(network: Network) -> "_Board":
    return _Board(network)


@lru_cache(maxsize=1)  # and many networks may have the same makers
def _crews(makers: tuple[Maker, ...], slots: int) -> Crews:
    return Crews(makers, slots)


class _Board:
    """A network made ready to be dispatched, with these durations or others. Stages go by urgency here, the most urgent last.

    Sets of stages are numbers with a bit for each, so that the most urgent of them is their highest bit. What can happen has a
    number, too. For stage s of n: s when its work is over, n + s when it has cured, 2n + s when it may start for all the calendar
    says. From 3n on: a maker or a place comes free, and last of all somebody arrives.
    """

    def __init__(self, network: Network) -> None:
        shop, stages = network.shop, network.stages
        order = _most_urgent(network)[::-1]
        urgency = {number: stage for stage, number in enumerate(order)}
        self.slots = shop.grid.slots
        self.crews = _crews(network.makers, self.slots)
        self.ids = [stages[i].id for i in order]
        self.work = [network.work[i] for i in order]
        self.cure = [network.cure[i] for i in order]
        self.cures = [cure > 0 for cure in self.cure]
        self.waits = [len(network.follows[i]) for i in order]

        needs = [network.needs[network.need[i]] for i in order]
        bits = [self.crews.bits[maker.id] for maker in network.makers]
        self.anybody = [need.calendar for need in needs]
        self.size = [need.crew for need in needs]
        self.must = [bits[need.maker] if need.maker >= 0 else 0 for need in needs]
        # Whoever does alone what is given to them is the only one able.
        able = [(need.maker,) if need.maker >= 0 and need.crew == 1 else need.able for need in needs]
        self.able = [sum(bits[i] for i in some) for some in able]
        self.startable = _Startable(self.able, self.size, self.must)
        self.not_kept = _NotKept(self.able, self.size, self.must)
        self.crews_in = _CrewsIn(self.startable, self.size)
        self.brief = _set(stage for stage, work in enumerate(self.work) if work <= BRIEF)
        # The last room is the anywhere of those that need no place, and -1 its index.
        self.place = [need.place for need in needs]
        self.room = [*(place.capacity for place in network.places), len(stages) + 1]

        # By what happens: who comes free, the place that does, and the stages that then wait for one thing less.
        self.free: list[int] = [0] * (3 * len(stages))
        self.frees: list[tuple[int, Sequence[int]]] = []
        self.events: list[tuple[int, int]] = []
        self.idle = 0
        then = [tuple(urgency[follower] for follower in network.followers[i]) for i in order]
        keeps = [stages[i].holds for i in order]
        each = list(zip(self.place, then, self.cures, keeps, strict=True))
        self.frees += [(-1 if cures and keep else place, () if cures else later) for place, later, cures, keep in each]
        self.frees += [(place if keep else -1, later) for place, later, _, keep in each]
        self.frees += [(-1, (stage,)) for stage in range(len(stages))]
        now = max(shop.now, 0)
        for stage, number in enumerate(order):
            if not self.waits[stage] or network.release[number] > now:
                self.waits[stage] += 1
                self.events.append((network.release[number], 2 * len(stages) + stage))
        for maker in network.makers:
            if maker.free_from > now:
                self._happens(maker.free_from, self.crews.bits[maker.id], -1)
            else:
                self.idle |= self.crews.bits[maker.id]
        taken: dict[str, list[int]] = defaultdict(list)
        finished = {done.id for done in shop.done}
        for done in shop.done:
            if done.holds and done.at + done.cure > now:
                taken[done.place].append(done.at + done.cure)
        for number, place in enumerate(network.places):
            # Where more stand than there is room for, room comes when no more are left than there is.
            for until in sorted(taken[place.id])[-place.capacity :]:
                self.room[number] -= 1
                self._happens(until, 0, number)
        # What somebody is at has its room from the beginning, and asks for none when it goes on.
        for stage in reversed(range(len(order))):
            where = self.place[stage]
            if where >= 0 and self.room[where] > 0 and keeps_its_place(stages[order[stage]], finished):
                self.room[where] -= 1
                self.place[stage] = -1
        self.at = [
            _set(stage for stage, where in enumerate(self.place) if where == p) for p in range(len(network.places))
        ]
        self._happens(self.slots, 0, -1)
        self.roomy = _set(stage for stage, where in enumerate(self.place) if self.room[where])

    def _happens(self, at: int, crew: int, place: int) -> None:
        self.events.append((at, len(self.free)))
        self.free.append(crew)
        self.frees.append((place, ()))

    def dispatch(self, work: Sequence[int], cure: Sequence[int]) -> tuple[list[int], list[int], list[int]]:
        """By urgency: when each stage's work starts and ends, and its crew; that is 0 for those that do not end within the grid.

        ``work`` and ``cure`` go by urgency too, and what has no cure in the network has none here. An event is one number, its
        slot and behind it what happens. At each slot all that happens comes first; then one stage after the other starts.
        """
        stages, team = len(work), self.crews
        shift = len(self.free).bit_length()
        mask, stop, wake = (1 << shift) - 1, self.slots << shift, len(self.free) - 1
        startable, able, size, must = self.startable, self.able, self.size, self.must
        place, at_place, cures, frees = self.place, self.at, self.cures, self.frees
        there, arrivals, together = team.there, team.arrivals, team.together
        not_kept, crews_in, brief = self.not_kept, self.crews_in, self.brief
        starts, ends, crews = [0] * stages, [0] * stages, self.free[:]
        waits, room, idle = self.waits[:], self.room[:], self.idle
        roomy, waiting, woken = self.roomy, 0, 0
        short_since: dict[int, int] = {}
        events = [at << shift | what for at, what in self.events]
        heapify(events)
        while (event := heappop(events)) < stop:
            at, what = event >> shift, event & mask
            idle |= crews[what]
            where, ready = frees[what]
            spare = room[where]
            if not spare:
                roomy |= at_place[where]
            room[where] = spare + 1
            for stage in ready:
                left = waits[stage] - 1
                waits[stage] = left
                if not left:
                    waiting |= 1 << stage
            if events[0] <= event | mask:
                continue

            here = idle & there[at]
            if here != idle and at >= woken and waiting:
                arrival = bisect_right(arrivals, at)
                if arrival < len(arrivals):
                    woken = arrivals[arrival]
                    heappush(events, woken << shift | wake)
            while here:
                could = waiting & roomy
                can = could & startable[here]
                if not can:
                    break
                free, top = here, can.bit_length()
                more_urgent = could >> top
                if more_urgent and (short := more_urgent & crews_in[there[at]] >> top):
                    mate = short.bit_length() + top - 1
                    if at - short_since.setdefault(mate, at) <= LONG:
                        free = not_kept[mate, here]
                        alone = startable[free]
                        can &= alone | brief
                        if not can:
                            break
                        top = can.bit_length()
                        if not alone >> top - 1 & 1:
                            free = here
                stage = top - 1
                waiting ^= 1 << stage
                takes = work[stage]
                crew = free & able[stage]
                if crew.bit_count() != size[stage]:
                    crew = team.choose(crew, size[stage], must[stage], at, takes or 1, self.anybody[stage])
                calendar = together[crew]
                try:
                    end = calendar.own[calendar.before[at] + takes - 1] + 1 if takes else at
                except IndexError:  # not with them, but perhaps with others later
                    waits[stage] = 1
                    heappush(events, events[0] & ~mask | 2 * stages + stage)
                    continue
                starts[stage] = at
                ends[stage] = end
                crews[stage] = crew
                idle ^= crew
                here ^= crew
                where = place[stage]
                spare = room[where] - 1
                room[where] = spare
                if not spare:
                    roomy ^= at_place[where]
                heappush(events, end << shift | stage)
                if cures[stage]:
                    heappush(events, end + cure[stage] << shift | stages + stage)
        return starts, ends, crews[:stages]


def _most_urgent(network: Network) -> list[int]:
    """The indices of all stages, the most urgent first."""
    stages = network.stages
    due = {job.id: job.due for job in network.shop.jobs if job.due is not None}
    awaited = [stage.due is not None or stage.job in due for stage in stages]
    for number in reversed(range(len(stages))):
        awaited[number] |= any(awaited[follower] for follower in network.followers[number])
    last_starts, _ = latest(network, due)
    keys = [(not s.begun, not wait, last, s.id) for s, wait, last in zip(stages, awaited, last_starts, strict=True)]
    return sorted(range(len(stages)), key=keys.__getitem__)


class _Startable(dict[int, int]):
    """By the bits of who is here: the set of all stages for which they are enough."""

    def __init__(self, able: Sequence[int], size: Sequence[int], must: Sequence[int]) -> None:
        super().__init__()
        alike: dict[tuple[int, int, int], list[int]] = defaultdict(list)
        for stage, ask in enumerate(zip(able, size, must, strict=True)):
            alike[ask].append(stage)
        self._alike = {ask: _set(some) for ask, some in alike.items()}

    def __missing__(self, here: int) -> int:
        asks = self._alike.items()
        enough = [some for (able, size, must), some in asks if (here & able).bit_count() >= size and not must & ~here]
        stages = self[here] = reduce(or_, enough, 0)
        return stages


class _CrewsIn(dict[int, int]):
    """By the bits of all who are in, idle or not: the set of the stages for several for which they are enough."""

    def __init__(self, startable: _Startable, size: Sequence[int]) -> None:
        super().__init__()
        self._startable, self._for_several = startable, _set(stage for stage, takes in enumerate(size) if takes > 1)

    def __missing__(self, there: int) -> int:
        stages = self[there] = self._startable[there] & self._for_several
        return stages


class _NotKept(dict[tuple[int, int], int]):
    """By a stage for several that is short of hands, and the bits of who is here and idle: those whom it does not keep. It keeps
    as many as can be of its crew."""

    def __init__(self, able: Sequence[int], size: Sequence[int], must: Sequence[int]) -> None:
        super().__init__()
        self._asks = list(zip(able, size, must, strict=True))

    def __missing__(self, ask: tuple[int, int]) -> int:
        stage, here = ask
        able, size, must = self._asks[stage]
        kept = here & able
        while kept.bit_count() > size - (must & ~here).bit_count():
            kept ^= 1 << kept.bit_length() - 1  # whoever can do the least else stays
        free = self[ask] = here & ~kept
        return free


def _set(stages: Iterable[int]) -> int:
    bits = 0
    for stage in stages:
        bits |= 1 << stage
    return bits
