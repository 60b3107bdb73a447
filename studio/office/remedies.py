"""What helps a job that is late or tight: the acts that were tried with the plan, each with the page where it is done, and what
was tried filled in there where that is simple."""

from urllib.parse import urlencode

from studio.office.linked import Part, Parts, joined, parts
from studio.office.names import Names
from studio.office.reasons import stage_at, stuck_at
from studio.office.standing import days
from studio.office.wording import many, short_day
from studio.workshop.planning import Act, EndTold, Help

_LONGER = "two hours more a day from {} for two weeks"


def remedy(told: EndTold, names: Names, *, own: int | None = None) -> Parts:
    """One sentence: what was tried and helps, with the days that it brings; else another day. ``own``: the stage whose own day
    it is about. Empty where it is not known when it is ready."""
    if not told.ready or not names.plan:
        return ()
    acts = [(*parts(_act(one, told, names)), (f" ({days(one.half_days)})", "")) for one in told.helps]
    if told.over:
        another = f"another {'day for it' if own else 'van day'}: {short_day(told.ready, names.plan.day)}"
        form = f"{stage_at(own)}?due_on=" if own else f"/office/jobs/{told.job}/change/?van_day="
        acts.append(parts((another, f"{form}{told.ready.isoformat()}")))
    if not acts:
        return ()
    said = joined([joined(acts[:-1], ", "), acts[-1]], " or ") if len(acts) > 1 else acts[0]
    return (("What helps: ", ""), *said, (".", ""))


def _act(one: Help, told: EndTold, names: Names) -> Part:
    named, stage = names.stages.get(one.subject), stage_at(one.subject)
    own = names.own(one.subject) if named and named.job_id == told.job else names.stage(one.subject)
    crew = named.crew if named else 1
    match one.act:
        case Act.ANSWER:
            return f"an answer today for {own}", stuck_at(one.subject, names)
        case Act.OTHERS:
            return f"{own} given to somebody else", stage
        case Act.MORE:
            return f"{many(crew + 1, 'person', 'people')} at {own}, each for less long", stage
        case Act.FEWER:
            return f"{many(crew - 1, 'person', 'people')} at {own}, for longer", stage
        case Act.LONGER:
            days_of = names.plan.longer.get(one.subject) if names.plan else None
            filled = f"?{urlencode(days_of._asdict())}" if days_of else ""
            who = names.people.get(one.subject, "somebody")
            return _LONGER.format(who), f"/office/people/{one.subject}/days/{filled}#longer"
        case Act.ROOM:
            stages = (names.stages.get(cause.stage) for cause in told.causes if cause.place == one.subject)
            place = next((named.place for named in stages if named), "place")
            return f"room for one more at the {place}", f"/office/places/{one.subject}/?room=more"
        case Act.OPEN:
            return "working on the closed days", "/office/closures/"
