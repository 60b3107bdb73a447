"""What can be gone on with, as bare rows: who may do it, what it is stuck for, and where its van puts it."""

import functools
from datetime import date
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import OuterRef, QuerySet, Subquery

from studio.workshop.models.jobs import Stage
from studio.workshop.models.people import Person
from studio.workshop.models.stuck import Stuck

_LAST = date.max.isoformat()


class Coming(NamedTuple):
    """One stage. ``needs`` is what it is stuck for, else None; ``is_there`` whether its maker still is."""

    stage: int
    needs: str | None
    maker: int | None
    is_there: bool | None
    van_day: date | str | None  # some databases have no type for a day
    job: int
    piece_at: int
    piece: int
    at: int

    @property
    def order(self) -> tuple[bool, str, int, int, int, int, int]:
        """What is stuck comes last; before that by van, job, and place in the job and in the piece."""
        van = str(self.van_day) if self.van_day else _LAST
        return self.needs is not None, van, self.job, self.piece_at, self.piece, self.at, self.stage

    def is_for(self, person: Person) -> bool:
        """Given to this person, to nobody, or to somebody who has left."""
        return self.maker in {person.pk, None} or not self.is_there


def _rows(stages: QuerySet[Stage]) -> tuple[str, tuple[Any, ...]]:
    standing = Stuck.objects.standing().filter(stage=OuterRef("pk")).values("needs")[:1]
    columns = ("pk", "needs", "maker", "maker__is_active", "piece__job__van_day", "piece__job", "piece__position")
    asked = stages.order_by().annotate(needs=Subquery(standing)).values_list(*columns, "piece", "position")
    return asked.query.sql_with_params()


@functools.cache
def _can_go_on() -> tuple[str, tuple[Any, ...]]:
    """Put together once, since that takes longer than to answer it."""
    return _rows(Stage.objects.next_up())


def _asked(sql: str, values: tuple[Any, ...]) -> list[Coming]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return [Coming(*row) for row in cursor.fetchall()]


def coming() -> list[Coming]:
    """All of it, in its order."""
    return sorted(_asked(*_can_go_on()), key=lambda row: row.order)


def one_coming(stage: int) -> Coming | None:
    """One stage, whether it can be gone on with or not."""
    return next(iter(_asked(*_rows(Stage.objects.filter(pk=stage)))), None)
