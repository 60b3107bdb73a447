"""Why a job is not ready sooner, and what is wrong with its plan: sentences, each with a link to what would change it."""

from collections import defaultdict
from collections.abc import Callable, Iterable

from studio.craft.causes import Why
from studio.craft.stages import Trouble
from studio.office.linked import Parts, joined, parts, upper_first
from studio.office.names import Names
from studio.office.standing import days
from studio.office.wording import listed, many, number
from studio.workshop.planning import LOGGED_AHEAD, CauseTold, EndTold, ProblemTold

MOST_NAMED = 3


def reason(told: EndTold, names: Names) -> Parts:
    """At most two sentences, empty where it waits for nothing. The causes of a job that is over are its days, if all were counted."""
    causes, all_of_it = told.causes, told.over and not told.cut
    if not causes:
        return ()
    alike: dict[str, list[Parts]] = {}
    for cause in causes:
        subject, rest = _cause(cause, names)
        cost = days(cause.half_days)
        alike.setdefault(subject, []).append(
            (*rest, (f": all of its {cost}" if len(causes) == 1 and all_of_it else f": {cost}", ""))
        )
    said = joined(((*parts(subject), *joined(rest, ", and ")) for subject, rest in alike.items()), "; ")
    total = days(sum(cause.half_days for cause in causes))
    return (*upper_first(said), (f". That is its {total}." if all_of_it and len(causes) > 1 else ".", ""))


def _cause(cause: CauseTold, names: Names) -> tuple[str, Parts]:
    """Who or what is in the way, and how; causes that begin with the same words share them."""
    stage = (names.own(cause.stage), stage_at(cause.stage))
    named, other = names.stages.get(cause.stage), names.stages.get(cause.other or 0)
    who = names.people.get(cause.maker or 0)
    match cause.why:
        case Why.CURE:
            return "", parts(stage, f" is not hard{names.cured(cause.stage)}")
        case Why.WORK:
            return "there is more work than days, most of it in ", parts(stage)
        case Why.PLACE:
            elsewhere = other and named and other.job_id != named.job_id
            by_job = (other.job, f"/office/jobs/{other.job_id}/") if other and elsewhere else None
            held_by = by_job or (names.stage(cause.other), stage_at(cause.other))
            place = f"the {named.place}" if named and named.place else "its place"
            return f"{place} is held by ", parts(held_by, names.until(cause.stage))
        case Why.MAKER:
            busy, until = (names.stage(cause.other), stage_at(cause.other)), names.until(cause.stage)
            subject = who or "whoever can do it"
            if other and other.done:
                return f"{subject} was busy with ", parts(busy)
            if names.shorter(cause.other, cause.half_days):
                return f"{subject} is busy", parts(f"{until}, last with ", busy)
            return f"{subject} is busy with ", parts(busy, until)
        case Why.AWAY if who:
            return "", parts((f"{who} is away", f"/office/people/{cause.maker}/days/"))
        case Why.AWAY:
            return "nobody is there for ", parts(stage)
        case Why.CLOSED:
            return "", parts(("the shop is shut", "/office/closures/"))
        case Why.HELD:
            return "", parts((f"{names.own(cause.stage)} is stuck", stuck_at(cause.stage, names)))


def held(stage: int, names: Names) -> Parts:
    """For a job that is held by what its causes do not name."""
    return upper_first(parts((f"{names.own(stage)} is stuck", stuck_at(stage, names)), "."))


def stage_at(stage: int | None) -> str:
    return f"/office/stages/{stage}/" if stage else ""


def stuck_at(stage: int, names: Names) -> str:
    stuck = names.stuck.get(stage)
    return f"/office/stuck/{stuck}/" if stuck else stage_at(stage)


def problems(found: Iterable[ProblemTold], names: Names) -> list[Parts]:
    """Those of one job, a sentence for each kind of trouble, first what keeps stages out of the plan; what only comes after
    such a stage is counted behind it."""
    kinds: dict[str, list[ProblemTold]] = defaultdict(list)
    for one in sorted(found, key=lambda one: (_ORDER.get(one.trouble, -1), one.stage or 0)):
        kinds[one.trouble].append(one)
    said = [problem(alike, names) for kind, alike in kinds.items() if _ORDER.get(kind, -1) < _BEHIND]
    if behind := kinds.pop(Trouble.FOLLOWS_TROUBLE, []):
        waits = f"{many(len(behind), 'stage')} after that {'waits' if len(behind) == 1 else 'wait'} for it."
        said.append(upper_first(parts(waits)) if said else problem(behind, names))
    return said + [problem(alike, names) for kind, alike in kinds.items() if _ORDER.get(kind, -1) > _BEHIND]


def problem(alike: list[ProblemTold], names: Names) -> Parts:
    """Of one job, and of one kind of trouble."""
    tell = _TROUBLES.get(alike[0].trouble, _unknown)
    return upper_first(tell(alike, names))


def _these(alike: list[ProblemTold], names: Names) -> Parts:
    """The stages by name, the first few of them."""
    few = [parts((names.own(one.stage or 0), stage_at(one.stage))) for one in alike[:MOST_NAMED]]
    if (more := len(alike) - len(few)) > 0:
        return (*joined(few, ", "), (f" and {number(more)} more", ""))
    return joined([joined(few[:-1], ", "), few[-1]] if len(few) > 1 else few, " and ")


def _they(alike: list[ProblemTold], one: str, more: str) -> str:
    return one if len(alike) == 1 else more


def _ring(alike: list[ProblemTold], names: Names) -> Parts:
    rings = {frozenset(one.others): one for one in reversed(alike)}  # each stage of a ring tells of it
    said = []
    for one in rings.values():
        named = (names.stage(one.stage), stage_at(one.stage))
        round_about = ", which waits for ".join(names.stage(other) for other in reversed(one.others))
        said.append(parts(named, " follows itself" if len(one.others) == 1 else f" waits for {round_about}"))
    return (*joined(said, "; "), (". Choose what it follows.", ""))


def _missing(alike: list[ProblemTold], names: Names) -> Parts:
    waits = _they(alike, " waits", " wait")
    return (*_these(alike, names), (f"{waits} for a stage that is not there any more. Choose what comes before.", ""))


def _nobody(alike: list[ProblemTold], names: Names) -> Parts:
    return (*parts("nobody can do "), *_these(alike, names), *parts(". ", ("Say who does it.", "/office/people/")))


def _too_few(alike: list[ProblemTold], names: Names) -> Parts:
    first = alike[0]
    named = names.stages.get(first.stage or 0)
    takes = f"takes {many(named.crew, 'person', 'people')}" if named else "takes more people"
    can = f"{'only ' if first.number else ''}{many(first.number, 'person', 'people')} can do it"
    rest = f" The same holds for {many(len(alike) - 1, 'more stage')}." if len(alike) > 1 else ""
    own = (names.own(first.stage or 0), stage_at(first.stage))
    fewer = (", or change its people at once.", stage_at(first.stage)) if named else (".", "")
    return parts(own, f" {takes}, and {can}. ", ("Say who does it", "/office/people/"), fewer, rest)


def _no_place(alike: list[ProblemTold], names: Names) -> Parts:
    words = _they(alike, " has a place that is gone or takes nothing", " have a place that is gone or takes nothing")
    return (*_these(alike, names), *parts(f"{words}. ", ("Mend the places.", "/office/places/")))


def _gone(alike: list[ProblemTold], names: Names) -> Parts:
    words = _they(alike, " is given to somebody who is not there", " are given to somebody who is not there")
    return (*_these(alike, names), (f"{words}. Give {_they(alike, 'it', 'them')} to somebody else.", ""))


def _too_long(alike: list[ProblemTold], names: Names) -> Parts:
    words = _they(alike, " does not end within two years", " do not end within two years")
    return (*_these(alike, names), (f"{words}. Check the hours.", ""))


def _no_hours(alike: list[ProblemTold], names: Names) -> Parts:
    words = _they(
        alike,
        " has no hours, so the plan takes it for no work. Set",
        " have no hours, so the plan takes them for no work. Set",
    )
    return (*_these(alike, names), (f"{words} {_they(alike, 'its', 'their')} hours.", ""))


def _out_of_order(alike: list[ProblemTold], names: Names) -> Parts:
    said = []
    for one in alike[:MOST_NAMED]:
        before = listed([names.stage(other) for other in one.others])
        are = "is" if len(one.others) == 1 else "are"
        said.append(
            parts((names.own(one.stage or 0), stage_at(one.stage)), f" is done, but {before} before it {are} not")
        )
    return (*joined(said, "; "), (".", ""))


def _ahead(alike: list[ProblemTold], names: Names) -> Parts:
    words = _they(alike, " is logged for an hour", " are logged for hours")
    clock = "The clock of this machine was set back, or was wrong then."
    return (*_these(alike, names), (f"{words} still to come. {clock} Take it back and log it again.", ""))


def _behind(alike: list[ProblemTold], names: Names) -> Parts:
    return (*_these(alike, names), (f" {_they(alike, 'waits', 'wait')} for what cannot be planned.", ""))


def _unknown(alike: list[ProblemTold], names: Names) -> Parts:
    return (*_these(alike, names), (f" cannot be planned: {alike[0].trouble}.", ""))


_TROUBLES: dict[str, Callable[[list[ProblemTold], Names], Parts]] = {
    Trouble.FOLLOWS_ITSELF: _ring,
    Trouble.FOLLOWS_NOTHING: _missing,
    Trouble.NOBODY_CAN: _nobody,
    Trouble.TOO_FEW_CAN: _too_few,
    Trouble.MAKER_GONE: _gone,
    Trouble.NO_SUCH_PLACE: _no_place,
    Trouble.TOO_LONG: _too_long,
    Trouble.FOLLOWS_TROUBLE: _behind,
    # what is planned all the same
    Trouble.OUT_OF_ORDER: _out_of_order,
    Trouble.ZERO_HOURS: _no_hours,
    LOGGED_AHEAD: _ahead,
}
_ORDER = {trouble: place for place, trouble in enumerate(_TROUBLES)}
_BEHIND = _ORDER[Trouble.FOLLOWS_TROUBLE]
