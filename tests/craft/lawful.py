"""Whether a plan keeps the rules of the dispatch, read off slot by slot: written from the rules, and knows nothing of the code."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from studio.craft.stages import Done, Maker, Placed, Plan, Shop, Stage, Trouble

# What a plan may say of a stage and still hold it.
REMARKS = {Trouble.ZERO_HOURS, Trouble.OUT_OF_ORDER}


def faults(shop: Shop, plan: Plan) -> list[str]:
    """A sentence for each rule that is broken."""
    stages = {stage.id: stage for stage in shop.stages}
    makers = {maker.id: maker for maker in shop.makers}
    return [
        *_everything_is_placed_or_named(shop, plan),
        *(fault for name, placed in plan.placed.items() for fault in _one(shop, plan, stages[name], placed, makers)),
        *_nobody_is_in_two_places(plan),
        *_no_place_is_over_full(shop, plan),
        *_nobody_waits_but_for_a_stage_of_several(shop, plan),
    ]


def _everything_is_placed_or_named(shop: Shop, plan: Plan) -> Iterator[str]:
    named = {problem.stage for problem in plan.problems if problem.trouble not in REMARKS}
    for stage in shop.stages:
        if (stage.id in plan.placed) == (stage.id in named):
            yield f"{stage.id} must be either placed or named as a problem"


def _one(shop: Shop, plan: Plan, stage: Stage, placed: Placed, makers: dict[str, Maker]) -> Iterator[str]:
    crew = [makers[name] for name in placed.makers]
    if len({*placed.makers}) != stage.crew or len(placed.makers) != stage.crew:
        yield f"{stage.id} takes {stage.crew}, not {placed.makers}"
    if stage.maker and stage.maker not in placed.makers:
        yield f"{stage.id} is given to {stage.maker}"
    for maker in crew:
        if stage.skill and maker.skills is not None and stage.skill not in maker.skills and maker.id != stage.maker:
            yield f"{maker.id} cannot do {stage.id}"
        if placed.start < maker.free_from:
            yield f"{maker.id} is not free yet for {stage.id}"
    ready = ready_at(shop, plan, stage)
    if ready is None or placed.start < ready:
        yield f"{stage.id} starts at {placed.start}, before {ready}"
    if placed.cured != placed.end + max(stage.cure, 0):
        yield f"{stage.id} cures wrongly"
    hands_on = [t for t in range(placed.start, placed.end) if all(maker.calendar.open[t] for maker in crew)]
    if len(hands_on) != max(stage.work, 0):
        yield f"{stage.id} has {len(hands_on)} slots of work, not {stage.work}"
    if not all(maker.calendar.open[placed.start] for maker in crew):
        yield f"{stage.id} starts when not all of its crew are there"
    if placed.end > placed.start and placed.end - 1 not in hands_on:
        yield f"{stage.id} ends after its work does"
    if placed.end > shop.grid.slots:
        yield f"{stage.id} ends outside the grid"


def ready_at(shop: Shop, plan: Plan, stage: Stage) -> int | None:
    """From when it may start, by all but hands and room; None where it comes after what is not planned."""
    done = {one.id: one for one in shop.done}
    known = {one.id for one in shop.stages}
    times = [shop.now, stage.not_before]
    for before in stage.after:
        if before in plan.placed:
            times.append(plan.placed[before].cured)
        elif before in known or before not in done:
            return None
        else:
            times.append(done[before].at + done[before].cure)
    return max(times)


def _nobody_is_in_two_places(plan: Plan) -> Iterator[str]:
    spans: dict[str, list[tuple[int, int, str]]] = defaultdict(list)
    for placed in plan.placed.values():
        for maker in placed.makers if placed.end > placed.start else ():
            spans[maker].append((placed.start, placed.end, placed.stage))
    for maker, busy in spans.items():
        busy.sort()
        for (_, end, one), (start, _, other) in pairwise(busy):
            if start < end:
                yield f"{maker} is at {one} and at {other}"


def _taken(shop: Shop, plan: Plan) -> dict[str, Counter[int]]:
    """By place: how many stand there in each slot, those that were done before and still cure there included."""
    taken: dict[str, Counter[int]] = defaultdict(Counter)
    for stage in shop.stages:
        if placed := plan.placed.get(stage.id):
            taken[stage.place].update(range(placed.start, placed.cured if stage.holds else placed.end))
    for place, held in _held(shop.done).items():
        taken[place] += held
    return taken


def _held(done: Sequence[Done]) -> dict[str, Counter[int]]:
    held: dict[str, Counter[int]] = defaultdict(Counter)
    for one in done:
        if one.holds:
            held[one.place].update(range(max(one.at, 0), one.at + one.cure))
    return held


def _no_place_is_over_full(shop: Shop, plan: Plan) -> Iterator[str]:
    taken, held = _taken(shop, plan), _held(shop.done)
    for place in shop.places:
        for t, count in taken[place.id].items():
            # More may stand there already than there is room for; then nothing may come.
            if count > max(place.capacity, held[place.id][t]):
                yield f"{count} stand in {place.id} at {t}"
                break


def _stand_there_begun(shop: Shop, plan: Plan) -> dict[str, range]:
    """What somebody is at, and waits for nothing but its crew, stands in its place from the beginning: until it goes on."""
    done = {one.id for one in shop.done}
    begun = [stage for stage in shop.stages if stage.begun and done.issuperset(stage.after)]
    goes_on = {stage.id: plan.placed[stage.id].start if stage.id in plan.placed else shop.grid.slots for stage in begun}
    return {stage: range(max(shop.now, 0), start) for stage, start in goes_on.items()}


def _nobody_waits_but_for_a_stage_of_several(shop: Shop, plan: Plan) -> Iterator[str]:
    taken = _taken(shop, plan)
    there = _stand_there_begun(shop, plan)
    for stage in shop.stages:
        taken[stage.place].update(there.get(stage.id, ()))
    capacity = {place.id: place.capacity for place in shop.places}
    busy: dict[str, set[int]] = defaultdict(set)
    for placed in plan.placed.values():
        for maker in placed.makers:
            busy[maker].update(range(placed.start, placed.end))
    waiting = [
        (ready, plan.placed[stage.id].start if stage.id in plan.placed else shop.grid.slots, stage)
        for stage in shop.stages
        if (ready := ready_at(shop, plan, stage)) is not None
    ]
    for t in range(max(shop.now, 0), max((until for _, until, _ in waiting), default=0)):
        if any(stage.crew > 1 and ready <= t < until for ready, until, stage in waiting):
            continue  # somebody may be kept for it
        free = [m for m in shop.makers if m.calendar.open[t] and m.free_from <= t and t not in busy[m.id]]
        for ready, until, stage in waiting if free else ():
            others = taken[stage.place][t] - (t in there.get(stage.id, ()))
            room = not stage.place or others < capacity.get(stage.place, 0)
            if ready <= t < until and room and _could(stage, t, free):
                yield f"{stage.id} could start at {t}"


def _could(stage: Stage, t: int, free: Sequence[Maker]) -> bool:
    """Whether some of those free can, all that it takes, and would be done within the grid."""
    able = [m for m in free if not stage.skill or m.skills is None or stage.skill in m.skills or m.id == stage.maker]
    for crew in combinations(able, stage.crew):
        if (not stage.maker or stage.maker in {maker.id for maker in crew}) and _ends(stage, t, crew):
            return True
    return False


def _ends(stage: Stage, t: int, crew: Sequence[Maker]) -> bool:
    hours = (all(slots) for slots in zip(*(maker.calendar.open[t:] for maker in crew), strict=True))
    return sum(hours) >= stage.work
