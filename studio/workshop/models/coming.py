"""What can be gone on with, as bare rows: what it is stuck for, and where its van puts it."""

import functools
from datetime import date
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from studio.workshop.models.jobs import Stage
from studio.workshop.models.people import Person
from studio.workshop.models.stuck import Stuck

_LAST = date.max.isoformat()
_WHOSE = -1  # stands for whoever asks in what is put together once; no row has this key


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


def _rows(stages: QuerySet[Stage]) -> tuple[str, tuple[Any, ...]]:
    standing = Stuck.objects.standing().filter(stage=OuterRef("pk")).values("needs")[:1]
    columns = ("pk", "needs", "piece__job__van_day", "piece__job", "piece__position")
    asked = stages.order_by().annotate(needs=Subquery(standing)).values_list(*columns, "piece", "position")
    return asked.query.sql_with_params()


# Put together once, since that takes longer than to answer it.
@functools.cache
def _can_go_on() -> tuple[str, tuple[Any, ...]]:
    return _rows(Stage.objects.next_up())


@functools.cache
def _on_bench() -> tuple[str, tuple[Any, ...]]:
    does = Exists(Person.objects.doing("kind").filter(pk=_WHOSE))
    nobodys = Q(maker=None) | Q(maker__is_active=False)
    return _rows(Stage.objects.next_up().filter(Q(maker=_WHOSE) | nobodys & does))


def _asked(sql: str, values: tuple[Any, ...]) -> list[Coming]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return sorted((Coming(*row) for row in cursor.fetchall()), key=lambda row: row.order)


def coming() -> list[Coming]:
    """All of it, in its order."""
    return _asked(*_can_go_on())


def coming_for(person: Person) -> list[Coming]:
    """What is given to this person; and of what is given to nobody, or to somebody who has left, what is of a kind that they
    do: without any kind named, all of it."""
    sql, values = _on_bench()
    return _asked(sql, tuple(person.pk if value == _WHOSE else value for value in values))


def one_coming(stage: int) -> Coming | None:
    """One stage, whether it can be gone on with or not."""
    return next(iter(_asked(*_rows(Stage.objects.filter(pk=stage)))), None)
