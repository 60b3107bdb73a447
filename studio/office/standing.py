"""How each job stands to its van, in a word; and how all of them stand, in the sentence that the lead reads first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import IntEnum

from studio.office.linked import Parts, parts, upper_first
from studio.office.wording import number, sentence
from studio.workshop import planning
from studio.workshop.models import Job
from studio.workshop.planning import EndTold

NOT_PLANNED, ANEW = "not in the plan yet", "being planned anew"
NO_VAN = "no van yet"
A_YEAR = timedelta(days=366)


class Rank(IntEnum):
    """The worst first."""

    OVER = 0
    UNSURE = 1  # it has a van, and the plan has no day for it
    TIGHT = 2
    CLEAR = 3
    NO_VAN = 4


@dataclass(frozen=True)
class Standing:
    """``told`` is None where the plan does not know the job yet, or was drawn for another van; ``left``: some of its stages are
    not done."""

    job: Job
    told: EndTold | None
    rank: Rank
    word: str
    left: bool
    client: str
    own: EndTold | None = None  # the worst of its stages that miss a day of their own

    @property
    def ready(self) -> date | None:
        return self.told.ready if self.told else None

    @property
    def hand(self) -> int:
        return hand_of(self.told) if self.told else 0

    @property
    def held(self) -> bool:
        return bool(self.told and self.told.held)

    @property
    def finished(self) -> bool:
        return bool(self.told and self.told.ready) and not self.left

    @property
    def place(self) -> tuple[int, int, date, int]:
        """Where it comes among others: by its van, or by a day of one of its stages if that is missed by more."""
        rank, by_hand = self.rank, 0 if self.rank in {Rank.UNSURE, Rank.NO_VAN} else self.hand
        if self.own:
            rank, by_hand = Rank.OVER, min(hand_of(self.own), by_hand if rank is Rank.OVER else 0)
        return rank, by_hand, self.job.van_day or self.ready or date.max, self.job.pk


def standing(job: Job, told: EndTold | None, *, left: bool, client: str = "", own: EndTold | None = None) -> Standing:
    """Against the van that the job has now; nothing is told of a plan that was drawn for another."""
    rank = Rank.UNSURE if job.van_day else Rank.NO_VAN
    if told is None:
        word = NOT_PLANNED
    elif told.ready is None:
        word = "no day yet" if left else "nothing set out yet"
    elif told.due != job.van_day:
        told, word = None, ANEW if job.van_day else NO_VAN
    elif job.van_day is None:
        word = NO_VAN
    elif left or told.over:
        rank, word = _rank(told, job.fixed), stands(told, job.fixed)
    else:
        rank, word = Rank.CLEAR, "done"
    return Standing(job, told, rank, word, left, client, own)


def _rank(told: EndTold, fixed: bool) -> Rank:
    """What is held stands by the best that can be, as its word says; that it is stuck presses today in any case."""
    if told.over:
        return Rank.OVER
    return Rank.TIGHT if planning.word(told, fixed) == "tight" else Rank.CLEAR


def days(half_days: int) -> str:
    """``½ day``, ``1 day``, ``1½ days``, ``2 days``, never broken over two lines."""
    whole, half = divmod(half_days, 2)
    count = f"{whole or ''}{'½' if half else ''}" or "no"
    return f"{count}\N{NO-BREAK SPACE}day{'s' if half_days > 2 else ''}"


def hand_of(told: EndTold) -> int:
    """Worked days in hand, to put things in order by; where they were not all counted, all days there are."""
    if told.cut and told.ready and told.due:
        return (told.due - told.ready).days
    return told.hand or 0


def over_by(told: EndTold) -> str:
    """``2 days over``, ``more than a year over``; without a number where not all days were counted. Ready after the van, but
    with no worked day between, is half a day."""
    if not told.cut:
        return f"{days(max(-2 * (told.hand or 0), 1))} over"
    more = told.ready and told.due and told.ready - told.due > A_YEAR
    return "more than a year over" if more else "over"


def stands(told: EndTold, fixed: bool) -> str:
    """``2 days over``, ``tight, 1 day in hand``, ``5 days in hand``; at best so, where somebody must answer first. Empty where
    there is no van, or no day."""
    word = planning.word(told, fixed)
    if not word or told.hand is None:
        return ""
    best = "at best " if told.held else ""
    if word == "over":
        return f"{best}{over_by(told)}"
    hand = f"{days(2 * told.hand)} in hand"
    return f"{best}tight, {hand}" if word == "tight" else f"{best}{hand}"


Missed = tuple[str, str, EndTold]


def headline(found: Sequence[Standing], *, planned: bool, missed: Sequence[Missed] = ()) -> Parts:
    """From jobs with the worst first. ``planned``: there is a plan at all; ``missed``: the stages that miss a day of their own,
    the worst first, each with its words and where its line is."""
    if not found:
        return parts("Nothing on the bench. ", ("Set out a job", "/office/jobs/new/"), ".")
    if not planned:
        return parts("The plan is being drawn.")
    over, unsure, tight, clear, no_van = ([one for one in found if one.rank is rank] for rank in Rank)
    over.sort(key=lambda one: one.hand)
    if missed and (not over or hand_of(missed[0][2]) < over[0].hand):
        words, line, told = missed[0]
        vans = (
            f" {sentence(_are(len(over), 'job is', 'jobs are'))} over {'its van' if len(over) == 1 else 'their vans'}."
            if over
            else ""
        )
        also = _miss(len(missed) - 1, " more") + vans + _also(0, len(tight))
        return upper_first(((words, line), (f" is {over_by(told)} the day of its own.{also}", "")))
    if over:
        also = _also(len(over) - 1, len(tight)) + _miss(len(missed), "")
        return upper_first((_name(over[0]), (f" is {over[0].word} its van.{also}", "")))
    if unsure:
        unknown = f" {sentence(_are(len(unsure) - 1, 'more has', 'more have'))} no sure day." if len(unsure) > 1 else ""
        return upper_first((_name(unsure[0]), (f" {_unsure(unsure[0])}.{unknown}{_also(0, len(tight))}", "")))
    if tight or clear:
        return _all_clear(tight, clear, len(no_van))
    return parts("No job has a van yet.")


def _name(one: Standing) -> tuple[str, str]:
    return one.job.name, f"#job-{one.job.pk}"


def _are(count: int, one: str, more: str) -> str:
    return f"{number(count)} {one if count == 1 else more}"


def _also(over: int, tight: int) -> str:
    """How many others there are to look at."""
    if over and tight:
        return f" {sentence(_are(over, 'more is', 'more are'))} over, and {_are(tight, 'is', 'are')} tight."
    if over:
        return f" {sentence(_are(over, 'more is', 'more are'))} over."
    return f" {sentence(_are(tight, 'more is', 'more are'))} tight." if tight else ""


def _miss(count: int, more: str) -> str:
    return (
        f" {sentence(number(count))}{more} {'stage misses a day of its own' if count == 1 else 'stages miss days of their own'}."
        if count
        else ""
    )


def _unsure(one: Standing) -> str:
    return f"{'is' if one.word in {NOT_PLANNED, ANEW} else 'has'} {one.word}"


def _all_clear(tight: Sequence[Standing], clear: Sequence[Standing], no_van: int) -> Parts:
    count, first = len(tight) + len(clear), (*tight, *clear)[0]
    if count == 1:
        others = f" {sentence(_are(no_van, 'more has', 'more have'))} no van yet." if no_van else ""
        return upper_first((_name(first), (f" clears its van: {first.word}.{others}", "")))
    jobs = "Both jobs" if count == 2 else f"All {number(count)} jobs"
    said = f"{jobs} with a van clear it." if no_van else f"{jobs} clear their vans."
    if not tight:
        return parts(f"{said} The tightest is ", _name(first), ".")
    if len(tight) == 1:
        return parts(f"{said} Only ", _name(first), " is tight.")
    return parts(f"{said} {sentence(number(len(tight)))} are tight, ", _name(first), " the most.")
