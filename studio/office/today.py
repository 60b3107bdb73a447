"""What presses today: at most seven lines, each with a link to the act."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial

from studio.office.linked import Part, Parts, joined, parts, upper_first
from studio.office.names import Names
from studio.office.reasons import stage_at
from studio.office.waiting import ended
from studio.office.wording import listed, many, number, sentence, short_day, when
from studio.workshop.models import Job, Needs, Stuck

MOST = 7
MOST_NAMED = 6  # in one line that gathers others


@dataclass(frozen=True)
class Waiting:
    """How many of each thing wait for the lead."""

    failed: int = 0
    unknown: int = 0
    taken_back: int = 0
    photos: int = 0
    words: int = 0
    spoilt: bool = field(default=False, kw_only=True)  # a photo did not come out lately


@dataclass(frozen=True)
class StuckNow:
    """What somebody said is stuck, and nobody has answered."""

    key: int
    stage: int
    needs: str
    at: datetime
    by: str
    piece: str
    kind: str
    title: str


def stuck_now() -> list[StuckNow]:
    """The oldest first."""
    columns = (
        "pk",
        "stage_id",
        "needs",
        "at",
        "entry__by__name",
        "stage__piece__name",
        "stage__kind__name",
        "stage__title",
    )
    return [StuckNow(*row) for row in Stuck.objects.standing().values_list(*columns)]


@dataclass(frozen=True)
class Press:
    """Like things: ``at`` stands in the margin; ``gather`` says in one line what has no line of its own, and whether it is
    more of what stands above."""

    at: str
    lines: Sequence[Parts]
    gather: Callable[[Sequence[Parts], bool], Parts] = lambda rest, more: joined(rest, " ")


def few(groups: Iterable[Press]) -> list[tuple[str, Parts]]:
    """Margin and sentence, the most pressing first. Where there are too many, each kind keeps a line at least, and the first
    kinds as many more as there is room for; what is left of a kind is gathered into its last line."""
    found = [group for group in groups if group.lines]
    room = MOST - len(found)
    told: list[tuple[str, Parts]] = []
    for group in found:
        lines = min(len(group.lines), 1 + room)
        room -= lines - 1
        alone = lines if lines == len(group.lines) else lines - 1
        told += [(group.at, line) for line in group.lines[:alone]]
        if rest := group.lines[alone:]:
            told.append((group.at, upper_first(group.gather(rest, alone > 0))))
    return told


def pressing(
    *,
    stuck: Sequence[StuckNow],
    names: Names,
    waiting: Waiting,
    jobs: Sequence[Job],
    today: date,
    next_day: date,
    now: datetime,
) -> list[tuple[str, Parts]]:
    """``jobs`` are those that are going; ``next_day`` is the next worked day."""
    vans = [job for job in jobs if job.van_day and today <= job.van_day <= next_day]
    return few(
        [
            Press("stuck", [_stuck(one, now) for one in stuck], _more_stuck),
            Press("start", _must_start(names, jobs, today), _more_start),
            Press("failed" if waiting.failed or waiting.unknown else "taken back", _failed(waiting)),
            Press("photos", _photos(waiting.photos)),
            Press("spoilt", _spoilt(waiting.spoilt)),
            Press("your word", _words(waiting.words)),
            Press(
                "van",
                [_van(job, today) for job in sorted(vans, key=_van_day)],
                partial(_more_vans, _when(next_day, today)),
            ),
        ]
    )


def _van_day(job: Job) -> date:
    return job.van_day or date.max


def _stuck(one: StuckNow, now: datetime) -> Parts:
    needs = Needs(one.needs).label
    named = f"{one.piece}, {one.kind}{f', {one.title}' if one.title else ''}"
    said = f" is stuck: {needs[:1].lower()}{needs[1:]}. {one.by}, {when(one.at, now)}."
    return parts((named, f"/office/stuck/{one.key}/"), said)


def _more_stuck(rest: Sequence[Parts], more: bool) -> Parts:
    count = len(rest)
    words = f"{many(count, 'more stage' if more else 'stage')} {'is' if count == 1 else 'are'} stuck"
    return parts((words, "/office/stuck/"), ".")


def _must_start(names: Names, jobs: Sequence[Job], today: date) -> list[Parts]:
    """From a plan of today only: yesterday's no longer says what must start today."""
    plan = names.plan
    if plan is None or plan.day != today:
        return []
    by_id = {job.pk: job for job in jobs}
    return [
        _start(stage, names, job, today)
        for stage in plan.must_start
        if (named := names.stages.get(stage)) and (job := by_id.get(named.job_id))
    ]


def _start(stage: int, names: Names, job: Job, today: date) -> Parts:
    named, plan = names.stages[stage], names.plan
    placed = plan.stages.get(stage) if plan else None
    who = listed([names.people.get(maker, "somebody") for maker in placed.makers]) if placed else ""
    where = f"{' ' if who else ''}at the {named.place}" if named.place else ""
    doing = f", {who}{where}," if who or where else ""
    its = "its van" if named.alone else f"the van of {named.job}"
    told = plan.jobs.get(job.pk) if plan else None
    if job.van_day and told and told.over:
        otherwise = f"or {its} is missed by more"
    elif job.van_day:
        otherwise = f"or {its} on {short_day(job.van_day, today)} is missed"
    else:
        otherwise = "or its deadline moves"
    return parts((f"Start {named}", stage_at(stage)), f" today{doing} {otherwise}.")


def _more_start(rest: Sequence[Parts], more: bool) -> Parts:
    """Each is still named, with its link."""
    links = [_renamed(line[0]) for line in rest[:MOST_NAMED]]
    left = len(rest) - len(links)
    named = joined([(link,) for link in links], ", ")
    end = f" and {number(left)} more that are planned for today." if left else "."
    return (*parts(f"{'also ' if more else ''}start today, or a van is missed: "), *named, (end, ""))


def _renamed(link: Part) -> Part:
    words, address = link
    return words.removeprefix("Start "), address


def _failed(waiting: Waiting) -> list[Parts]:
    said = ended(waiting.failed, waiting.unknown)
    if waiting.taken_back:
        was = "was" if waiting.taken_back == 1 else "were"
        letter = "its letter" if waiting.taken_back == 1 else "their letters"
        said.append(f"{many(waiting.taken_back, 'stage')} {was} taken back after {letter} had gone")
    return [parts((sentence(listed(said)), "/office/waiting/"), ".")] if said else []


def _photos(count: int) -> list[Parts]:
    words = f"{many(count, 'photo')} {'waits' if count == 1 else 'wait'} for your look"
    return [parts((sentence(words), "/office/photos/"), ".")] if count else []


def _spoilt(lately: bool) -> list[Parts]:
    words = ("A photo did not come out", "/office/waiting/#spoilt")
    return [parts(words, ". Ask for another.")] if lately else []


def _words(count: int) -> list[Parts]:
    words = f"{many(count, 'stage')} {'is' if count == 1 else 'are'} done without a photo to show"
    return [parts((sentence(words), "/office/photos/#silent"), ": send word, or say nothing.")] if count else []


def _van(job: Job, today: date) -> Parts:
    leaves = "today" if job.van_day == today or not job.van_day else _when(job.van_day, today)
    return parts("The van of ", (job.name, f"/office/jobs/{job.pk}/"), f" leaves {leaves}.")


def _when(day: date, today: date) -> str:
    return "tomorrow" if (day - today).days == 1 else f"on {short_day(day, today)}"


def _more_vans(day: str, rest: Sequence[Parts], more: bool) -> Parts:
    named = joined([(line[1],) for line in rest], ", ")
    vans = f"{many(len(rest), 'more van' if more else 'van')} {'leaves' if len(rest) == 1 else 'leave'}"
    return (*parts(f"{vans} today or {day}: "), *named, (".", ""))
