"""Questions that are put together once, since that takes longer than to answer them. They hold nothing of anybody's."""

from typing import Any

from django.db import connection
from django.db.models import QuerySet

WHOSE = -1  # stands in them for whoever asks; no row has this key

Question = tuple[str, tuple[Any, ...]]


def put_together(rows: QuerySet[Any, Any]) -> Question:
    sql, values = rows.query.sql_with_params()
    return sql, tuple(values)


def ask(question: Question, whose: int = WHOSE) -> list[tuple[Any, ...]]:
    """The bare rows, as the database gives them. ``whose``: the key of whoever asks."""
    sql, values = question
    with connection.cursor() as cursor:
        cursor.execute(sql, [whose if value == WHOSE else value for value in values])
        return list(cursor.fetchall())
