"""What can be gone on with, as bare rows: what it is stuck for, and where its van puts it."""

import functools
from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from studio.workshop.models.jobs import Stage
from studio.workshop.models.people import Person
from studio.workshop.models.prepared import WHOSE, Question, ask, put_together
from studio.workshop.models.stuck import Stuck

_LAST = date.max.isoformat()


class Coming(NamedTuple):
    """One stage. ``needs`` is what it is stuck for, else None."""

    stage: int
    needs: str | None
    van_day: date | str | None  # some databases have no type for a day
    job: int
    piece_at: int
    piece: int
    at: int

    @property
    def by_van(self) -> tuple[bool, str]:
        """What is stuck comes last, and so does what has no van."""
        return self.needs is not None, str(self.van_day) if self.van_day else _LAST

    @property
    def order(self) -> tuple[bool, str, int, int, int, int, int]:
        """By van; then by job, and place in the job and in the piece."""
        return *self.by_van, self.job, self.piece_at, self.piece, self.at, self.stage


def _rows(stages: QuerySet[Stage]) -> Question:
    standing = Stuck.objects.standing().filter(stage=OuterRef("pk")).values("needs")[:1]
    columns = ("pk", "needs", "piece__job__van_day", "piece__job", "piece__position")
    rows = stages.order_by().annotate(needs=Subquery(standing)).values_list(*columns, "piece", "position")
    return put_together(rows)


@functools.cache
def _can_go_on() -> Question:
    return _rows(Stage.objects.next_up())


@functools.cache
def _on_bench() -> Question:
    does = Exists(Person.objects.doing("kind").filter(pk=WHOSE))
    nobodys = Q(maker=None) | Q(maker__is_active=False)
    return _rows(Stage.objects.next_up().filter(Q(maker=WHOSE) | nobodys & does))


def _in_order(rows: Iterable[tuple[Any, ...]]) -> list[Coming]:
    return sorted((Coming(*row) for row in rows), key=lambda row: row.order)


def coming() -> list[Coming]:
    """All of it, in its order."""
    return _in_order(ask(_can_go_on()))


def coming_for(person: Person) -> list[Coming]:
    """What is given to this person; and of what is given to nobody, or to somebody who has left, what is of a kind that they
    do: without any kind named, all of it."""
    return _in_order(ask(_on_bench(), person.pk))


def one_coming(stage: int) -> Coming | None:
    """One stage, whether it can be gone on with or not."""
    return next(iter(_in_order(ask(_rows(Stage.objects.filter(pk=stage))))), None)
