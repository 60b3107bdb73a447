"""What a plan is made from: a shop at one moment, in whole slots of a grid (``workdays.Grid``), and what is wrong with it.

Everything here is a plain value. Slots are counted from the grid's first day; a duration is a number of slots. Ids are the
caller's own, and also decide ties, so that the order in which things are handed over changes nothing.
"""

from collections.abc import Container
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from studio.craft.places import Place
from studio.craft.workdays import Calendar, Grid


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage that is still to be done.

    ``work``      slots of hands-on work left, for each of the ``crew`` who do it together
    ``cure``      slots of wall time that it sets or dries afterwards, through nights and weekends
    ``holds``     its place stays taken while it cures
    ``after``     ids of the stages (of ``Shop.stages`` or ``Shop.done``) that must be done and cured first
    ``maker``     who it is given to, empty for whoever can
    ``begun``     somebody is at it: it goes on before anything else
    ``not_before``  the first slot at which it may start; ``held`` says that a person must answer something until then
    ``due``       the slot by which it must be done and cured, a deadline of its own
    """

    id: str
    job: str
    work: int
    after: tuple[str, ...] = ()
    skill: str = ""
    place: str = ""
    crew: int = 1
    cure: int = 0
    holds: bool = False
    maker: str = ""
    begun: bool = False
    not_before: int = 0
    held: bool = False
    due: int | None = None


def keeps_its_place(stage: Stage, done: Container[str]) -> bool:
    """A piece that somebody is at stands where it is, also while nobody of its crew is there."""
    return stage.begun and all(i in done for i in stage.after)


@dataclass(frozen=True, slots=True)
class Done:
    """A stage that is done: its work ended at slot ``at``, and it may still be curing, perhaps in its place."""

    id: str
    job: str
    at: int
    cure: int = 0
    place: str = ""
    holds: bool = False
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """``due`` is the first slot after the van's day, None where there is no van yet."""

    id: str
    due: int | None = None


@dataclass(frozen=True, slots=True)
class Maker:
    """``skills`` are the kinds of work that this person does, None for all of them. ``free_from``: busy until then, with the stage
    ``busy_with`` of ``Shop.done`` where that is known."""

    id: str
    calendar: Calendar
    skills: frozenset[str] | None = None
    free_from: int = 0
    busy_with: str = ""

    def can(self, skill: str) -> bool:
        return not skill or self.skills is None or skill in self.skills


@dataclass(frozen=True, slots=True)
class Shop:
    """``calendar`` is when the shop is open; ``ordinary`` the same week without closures, by which days are counted."""

    grid: Grid
    now: int
    calendar: Calendar
    ordinary: Calendar
    makers: tuple[Maker, ...] = ()
    places: tuple[Place, ...] = ()
    jobs: tuple[Job, ...] = ()
    stages: tuple[Stage, ...] = ()
    done: tuple[Done, ...] = ()


class Trouble(StrEnum):
    """What can be wrong with a shop. All but ZERO_HOURS and OUT_OF_ORDER keep their stage, and what follows it, unplanned."""

    FOLLOWS_ITSELF = "follows itself"  # others: the stages of the ring, in order
    FOLLOWS_NOTHING = "follows a stage that is not there"  # others: the missing ids
    NOBODY_CAN = "nobody has the skill"
    TOO_FEW_CAN = "fewer people can do it than it takes"  # number: how many can
    NO_SUCH_PLACE = "its place does not exist, or holds nothing"
    MAKER_GONE = "it is given to somebody who is not there"
    TOO_LONG = "it does not end within the grid"
    ZERO_HOURS = "no hours are set"
    OUT_OF_ORDER = "it is done, and what it follows is not"  # others: the stages that are not done
    FOLLOWS_TROUBLE = "something before it cannot be planned"  # others: those stages


@dataclass(frozen=True, slots=True)
class Problem:
    trouble: Trouble
    stage: str
    job: str
    others: tuple[str, ...] = ()
    number: int = 0


class Placed(NamedTuple):
    """Where a stage stands in a plan: work from ``start`` up to, not including, ``end``; cured at ``cured``."""

    stage: str
    start: int
    end: int
    cured: int
    makers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """``placed`` by stage id; what could not be planned is missing there and named in ``problems``."""

    placed: dict[str, Placed] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
