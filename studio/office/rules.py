"""The lines of Deadlines: each job with its word, its days, why it is not sooner and what is wrong, and under it the
stages that have a day of their own."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from django.utils.safestring import SafeString, mark_safe

from studio.craft.causes import Why
from studio.office import lying
from studio.office.linked import Parts, html, joined, parts
from studio.office.lying import Line, WorkedDays
from studio.office.names import Names, StageNamed
from studio.office.reasons import held, problems, reason, stage_at
from studio.office.remedies import remedy
from studio.office.standing import ANEW, Rank, Standing, stands
from studio.office.wording import sentence, short_day
from studio.workshop import planning
from studio.workshop.models import Job, Wanted
from studio.workshop.planning import EndTold, ProblemTold

_WANTED = {
    Wanted.THERE: "when it must be there",
    Wanted.OPENS: "when it opens",
    Wanted.FETCHED: "when it is fetched",
}


@dataclass(frozen=True)
class Rule:
    """``under`` is the client, or of a stage its job; ``dates`` are when it is ready and when it must be; ``why`` is what its
    days are, and what to mend; both are HTML. ``line`` is None where there is nothing to draw. ``kind``: "over", or "own"
    for the day of a stage, or both."""

    key: str
    name: str
    address: str
    under: str
    word: str
    dates: SafeString
    line: Line | None
    kind: str = ""
    why: SafeString | str = ""


def rules_of(found: Iterable[Standing], names: Names, days: WorkedDays, today: date) -> list[Rule]:
    """In the order of ``found``."""
    troubles: dict[int, list[ProblemTold]] = defaultdict(list)
    for problem in names.plan.problems if names.plan else ():
        troubles[problem.job or 0].append(problem)
    own: dict[int, list[tuple[int, StageNamed, date, EndTold]]] = defaultdict(list)
    for stage, told in names.plan.deadlines.items() if names.plan else ():
        if (named := names.stages.get(stage)) and named.due_on:
            own[named.job_id].append((stage, named, named.due_on, told))
    rules = []
    for one in found:
        rules.append(_of_job(one, troubles[one.job.pk], names, days, today))
        rules += [_of_stage(*each, one.job, names, days, today) for each in own[one.job.pk]]
    return rules


@dataclass(frozen=True)
class Head:
    """How one job stands, on its own page; the fields as in ``Rule``."""

    word: str
    over: bool
    dates: SafeString
    why: SafeString


def head_of(one: Standing, names: Names, today: date) -> Head:
    troubles = [problem for problem in names.plan.problems if problem.job == one.job.pk] if names.plan else []
    return Head(one.word, one.rank is Rank.OVER, _dates(one, today), _why(one, troubles, names, today))


def _why(one: Standing, troubles: list[ProblemTold], names: Names, today: date) -> SafeString:
    mend = [*problems(troubles, names), *_about_days(one, today)]
    if one.told is None or one.finished:
        return _paragraphs((), (), mend)
    presses = one.rank in {Rank.OVER, Rank.TIGHT}
    help_out = remedy(one.told, names) if presses else ()
    return _paragraphs(_said(one.told, names, presses=presses), help_out, mend)


def _of_job(one: Standing, troubles: list[ProblemTold], names: Names, days: WorkedDays, today: date) -> Rule:
    job, told = one.job, one.told
    ready = one.ready if one.left else None
    hand, cut = (told.hand, told.cut) if told else (None, False)
    return Rule(
        key=f"job-{job.pk}",
        name=job.name,
        address=f"/office/jobs/{job.pk}/",
        under=one.client,
        word=one.word,
        dates=_dates(one, today),
        line=lying.line(days, today, ready, job.van_day, hand, one.held, cut=cut) if job.van_day or ready else None,
        kind="over" if one.rank is Rank.OVER else "",
        why=_why(one, troubles, names, today),
    )


def _of_stage(
    stage: int, named: StageNamed, due: date, told: EndTold, job: Job, names: Names, days: WorkedDays, today: date
) -> Rule:
    line = Rule(
        key=f"stage-{stage}",
        name=f"{sentence(named.words)} by {short_day(due, today)}",
        address=stage_at(stage),
        under=job.name if named.alone else named.piece,
        word=ANEW,
        dates=_spans([]),
        line=lying.line(days, today, None, due, None, held=False),
        kind="own",
    )
    if told.due != due:
        return line
    presses = planning.word(told, job.fixed) in {"over", "tight"}
    help_out = remedy(told, names, own=stage) if presses else ()
    return replace(
        line,
        word=stands(told, fixed=job.fixed) or "no day yet",
        dates=_spans(
            [f"{'at best' if told.held else 'likely'} ready {short_day(told.ready, today)}"] if told.ready else []
        ),
        line=lying.line(days, today, told.ready, due, told.hand, told.held, cut=told.cut),
        kind="own over" if told.over else "own",
        why=_paragraphs(_said(told, names, presses=presses), help_out, []),
    )


def _said(told: EndTold, names: Names, *, presses: bool) -> Parts:
    """Why, in one sentence or two; before that, what holds it, unless that is among its reasons."""
    said = reason(told, names)
    if not said and presses and not told.held:
        return parts("Nothing is in its way: its own work, and what sets, take until then.")
    if not told.held or any(cause.why is Why.HELD for cause in told.causes):
        return said
    mine = (stage for stage in names.stuck if stage in names.stages and names.stages[stage].job_id == told.job)
    return (*joined((held(stage, names) for stage in mine), " "), *(((" ", ""), *said) if said else ()))


def _dates(one: Standing, today: date) -> SafeString:
    job, told = one.job, []
    if one.ready:
        when = short_day(one.ready, today)
        if one.finished and one.ready <= today:
            told.append("all of it is done")
        else:
            told.append(f"{'at best' if one.held else 'likely'} ready {when}")
    if job.van_day:
        was = "was " if job.van_day < today else ""
        told.append(f"van {was}{short_day(job.van_day, today)}{' (fixed)' if job.fixed else ''}")
    elif job.wanted_day:
        told.append(f"wanted {short_day(job.wanted_day, today)}{' (fixed)' if job.fixed else ''}")
    return _spans(told)


def _spans(told: list[str]) -> SafeString:
    """Each stays on one line. Nothing in them was typed by anybody."""
    first, *rest = told or [""]
    return mark_safe(" ".join(f"<span>{words}</span>" for words in (sentence(first), *rest) if words))  # noqa: S308


def _paragraphs(said: Parts, help_out: Parts, mend: list[Parts]) -> SafeString:
    why = [f"<p>{html(words)}</p>" for words in (said, help_out) if words]
    return mark_safe("".join([*why, *(f'<p class="mend">{html(words)}</p>' for words in mend)]))  # noqa: S308


def _about_days(one: Standing, today: date) -> Iterator[Parts]:
    job, change = one.job, f"/office/jobs/{one.job.pk}/change/"
    if one.told and not one.ready and not one.left:
        yield parts("Nothing is set out yet. ", ("Add its pieces", f"/office/jobs/{job.pk}/"), ".")
    if not job.van_day:
        if one.left and one.ready and job.wanted_day and one.ready > job.wanted_day:
            yield parts("It is likely ready later than it is wanted. ", ("Set its van day", change), ".")
        else:
            yield parts(("Set its van day", change), ".")
    elif job.van_day < today:
        close = "close the job, or set" if one.finished else "set"
        yield parts(f"Its van was {short_day(job.van_day, today)}. ", (sentence(f"{close} another day"), change), ".")
    if job.van_day and job.wanted_day and job.wanted_day < job.van_day:
        wanted = f"{short_day(job.wanted_day, today)}, {_WANTED[Wanted(job.wanted_means)]}"
        yield parts(
            f"The van leaves on {short_day(job.van_day, today)}, later than {wanted}. ",
            ("Change the days", change),
            ".",
        )
