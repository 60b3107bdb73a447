"""What would bring a job back: acts that a lead can do today, each tried on the facts, and told only where it helps.

A trial is a whole plan of the changed facts, so its days are those that the plan will show once the act is done and nothing else
happens. An act that makes another job late is not told.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from functools import partial
from typing import Any, NamedTuple

from studio.craft.causes import Cause, Why
from studio.craft.ends import Deadline, Ends
from studio.craft.explain import Reading, deadlines
from studio.craft.network import lay_out
from studio.craft.plan import plan
from studio.craft.stages import Plan as Drawn
from studio.craft.stages import Shop
from studio.workshop.planning.facts import Facts
from studio.workshop.planning.shop import shop_of

PRESSES = 3  # worked days in hand; with more nobody looks for help
MOST = 2  # acts told of each
MOST_TRIALS = 30  # a plan of forty jobs takes a thirtieth of a second
LONGER = timedelta(hours=2)
LONGER_DAYS = 14
MIDNIGHT, LATEST = "00:00", "21:45"  # the end of a day's hours, and the latest that leaves two more before it


class Act(StrEnum):
    ANSWER = "answer"  # what a stage is stuck for; the subject is the stage
    OTHERS = "others"  # a stage to whoever can, instead of whom it is given to
    MORE = "more"  # one more at a stage, and its hours shared
    FEWER = "fewer"  # one less at a stage, who works the longer
    LONGER = "longer"  # two hours more a day of one person, for two weeks
    ROOM = "room"  # for one more in a place
    OPEN = "open"  # on days that are closed; no subject


class Help(NamedTuple):
    """``half_days``: by how many the job, or the stage with a day of its own, is ready sooner."""

    act: Act
    subject: int
    half_days: int


class Longer(NamedTuple):
    """Somebody's longer days as the form for them takes them: the same hours, on those of the days that they work."""

    first_day: str
    last_day: str
    starts: str
    ends: str


End = tuple[str, str]  # a job and "", or a job and its stage with a day of its own


def helps(facts: Facts, now: datetime, shop: Shop, drawn: Drawn, read: Mapping[End, Reading]) -> dict[End, list[Help]]:
    """The best of each that is late or tight, by ``read``. ``drawn`` is the plan of the ``shop`` that the facts are."""
    before = _stand(shop, drawn)
    pressed = sorted((end for end in read.keys() & before.keys() if before[end] <= 2 * PRESSES), key=before.__getitem__)
    trials: dict[tuple[Act, int], dict[End, float]] = {}
    found: dict[End, list[Help]] = {}
    for end in pressed:
        tried = []
        for act, subject in dict.fromkeys(_acts(facts, drawn, read[end].causes)):
            if (act, subject) not in trials:
                if len(trials) == MOST_TRIALS:
                    continue
                trials[act, subject] = _try(facts, now, act, subject)
            after = trials[act, subject]
            gain = after.get(end, before[end]) - before[end]
            if gain >= 1 and not _spoils(before, after):
                tried.append(Help(act, subject, int(gain)))
        if tried:
            found[end] = sorted(tried, key=lambda one: -one.half_days)[:MOST]
    return found


def _spoils(before: Mapping[End, float], after: Mapping[End, float]) -> bool:
    """Whether something has no day any more, or is late that was not, or late by another day."""
    return any(
        other not in after or after[other] < 0 <= then or after[other] <= min(then, 0) - 2
        for other, then in before.items()
    )


def _try(facts: Facts, now: datetime, act: Act, subject: int) -> dict[End, float]:
    shop = shop_of(_CHANGES[act](facts, subject), now)
    return _stand(shop, plan(lay_out(shop)))


def _stand(shop: Shop, drawn: Drawn) -> dict[End, float]:
    """In half days in hand, negative when over, of all that have a day and a plan."""
    ends = Ends(shop, drawn)
    vans = [ends.deadline(job.id, "", job.due) for job in shop.jobs if job.due is not None]
    return {(one.job, one.stage): _half_days(one) for one in (*vans, *deadlines(shop, drawn)) if one.hand is not None}


def _half_days(one: Deadline) -> float:
    return min(2 * (one.hand or 0), -1) if one.over else 2 * (one.hand or 0)


# The acts that answer to a cause, and what they change in the facts.


def _acts(facts: Facts, drawn: Drawn, causes: Iterable[Cause]) -> Iterator[tuple[Act, int]]:
    stages = {str(told["id"]): told for told in facts["stages"] if "done" not in told}
    for cause in causes:
        own, other = stages.get(cause.stage), stages.get(cause.other)
        match cause.why:
            case Why.HELD if own:
                yield Act.ANSWER, own["id"]
            case Why.MAKER:
                yield from (row for told in (own, other) if told for row in _of_hands(told))
                yield Act.LONGER, int(cause.maker)
            case Why.PLACE:
                yield Act.ROOM, int(cause.place)
            case Why.AWAY if own:
                yield from _of_hands(own)
            case Why.WORK if own:
                if not own["begun"] and not own["left_said"]:
                    yield Act.MORE, own["id"]
                yield from ((Act.LONGER, int(maker)) for maker in drawn.placed[cause.stage].makers)
            case Why.CLOSED:
                yield Act.OPEN, 0


def _of_hands(told: dict[str, Any]) -> Iterator[tuple[Act, int]]:
    if told["begun"] or told["left_said"]:
        return  # whoever is at it has its place and its hours; to change hands in the middle costs what nobody can tell
    if told["given"]:
        yield Act.OTHERS, told["id"]
    if told["crew"] > 1:
        yield Act.FEWER, told["id"]


def _stage_with(facts: Facts, subject: int, **values: Any) -> Facts:
    return facts | {"stages": [told | values if told["id"] == subject else told for told in facts["stages"]]}


def _answered(facts: Facts, subject: int) -> Facts:
    return _stage_with(facts, subject, stuck=False)


def _to_others(facts: Facts, subject: int) -> Facts:
    return _stage_with(facts, subject, maker=None)


def _with_crew(more: int, facts: Facts, subject: int) -> Facts:
    """The same work, shared among more or fewer."""
    told = next(told for told in facts["stages"] if told["id"] == subject)
    crew = told["crew"] + more
    return _stage_with(facts, subject, crew=crew, work=round(told["work"] * told["crew"] / crew))


def _works_longer(facts: Facts, subject: int) -> Facts:
    def longer(told: dict[str, Any]) -> dict[str, Any]:
        return told | {"longer": [*told["longer"], *_longer_days(facts, told)]}

    return facts | {"makers": [longer(told) if told["id"] == subject else told for told in facts["makers"]]}


def longer_days(facts: Facts, subject: int) -> Longer:
    """What was tried with somebody who has such days."""
    told = next(told for told in facts["makers"] if told["id"] == subject)
    days = _longer_days(facts, told)
    return Longer(days[0][0], days[-1][0], *days[0][1:])


def _longer_days(facts: Facts, told: dict[str, Any]) -> list[list[str]]:
    """Each with its hours: two after the latest closing time of them all, since one form adds the same to each. None where that
    would run into the night."""
    week = told["hours"] or facts["hours"]
    days = [day for day in _coming(date.fromisoformat(facts["day"])) if week[day.weekday()]]
    days = [day for day in days if not any(_within(day, off) for off in (*facts["closures"], *told["away"]))]
    ends = {week[day.weekday()][-1][1] for day in days}
    if not ends or MIDNIGHT in ends or max(ends) > LATEST:
        return []
    closing = time.fromisoformat(max(ends))
    more = (datetime.combine(date.min, closing) + LONGER).time()
    return [[day.isoformat(), max(ends), more.isoformat("minutes")] for day in days]


def _coming(today: date) -> Iterator[date]:
    return (today + timedelta(number) for number in range(LONGER_DAYS))


def _within(day: date, off: list[str]) -> bool:
    first, last = off
    return first <= day.isoformat() <= last


def _with_room(facts: Facts, subject: int) -> Facts:
    places = [told | {"capacity": told["capacity"] + (told["id"] == subject)} for told in facts["places"]]
    return facts | {"places": places}


def _opened(facts: Facts, _: int) -> Facts:
    return facts | {"closures": [span for span in facts["closures"] if span[1] < facts["day"]]}


_CHANGES: dict[Act, Callable[[Facts, int], Facts]] = {
    Act.ANSWER: _answered,
    Act.OTHERS: _to_others,
    Act.MORE: partial(_with_crew, 1),
    Act.FEWER: partial(_with_crew, -1),
    Act.LONGER: _works_longer,
    Act.ROOM: _with_room,
    Act.OPEN: _opened,
}
