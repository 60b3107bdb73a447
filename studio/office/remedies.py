"""What may bring a job back, by what stands most in its way: acts with the pages where they are done. Nothing is tried out
here; the plan that is drawn after says what it was worth."""

from studio.craft.causes import Why
from studio.office.linked import Part, Parts, joined, parts
from studio.office.names import Names
from studio.office.reasons import stage_at, stuck_at
from studio.workshop.planning import CauseTold, EndTold


def remedy(told: EndTold, names: Names, *, own: int | None = None) -> Parts:
    """One sentence for the biggest cause; empty where nothing is in the way. ``own``: the stage whose own day it is about."""
    if not told.causes:
        return ()
    another = ("another day for it", stage_at(own)) if own else ("another van day", f"/office/jobs/{told.job}/change/")
    acts = _acts(told.causes[0], names, another)
    few = [parts(act) for act in acts]
    said = joined([joined(few[:-1], ", "), few[-1]], " or ") if len(few) > 1 else few[0]
    return (("What may help: ", ""), *said, (".", ""))


def _acts(cause: CauseTold, names: Names, another_day: Part) -> list[Part]:
    own = stage_at(cause.stage)
    match cause.why:
        case Why.MAKER:
            longer = f"/office/people/{cause.maker}/work/"
            who = names.people.get(cause.maker or 0)
            return [
                (f"somebody else for {names.stage(cause.other)}", stage_at(cause.other)),
                (f"somebody else for {names.own(cause.stage)}", own),
                *([(f"a longer day for {who}", longer)] if who else []),
            ]
        case Why.PLACE:
            return [
                (f"another place for {names.own(cause.stage)}", own),
                (f"another place for {names.stage(cause.other)}", stage_at(cause.other)),
                ("room for one more there", "/office/places/"),
            ]
        case Why.AWAY:
            return [(f"somebody else for {names.own(cause.stage)}", own), another_day]
        case Why.CLOSED:
            return [
                ("working on one of those days", "/office/closures/"),
                ("a longer day for somebody", "/office/people/"),
                another_day,
            ]
        case Why.HELD:
            return [("an answer today", stuck_at(cause.stage, names))]
        case Why.CURE:
            return [(f"something that need not wait until {names.own(cause.stage)} is hard", own), another_day]
        case Why.WORK:
            return [
                (f"more people at {names.own(cause.stage)}", own),
                ("a longer day for somebody", "/office/people/"),
                another_day,
            ]
