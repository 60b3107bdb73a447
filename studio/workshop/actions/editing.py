"""Changing a row that an office form holds: the form carries the version it was drawn from."""

from datetime import datetime
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import F, Model

from studio.workshop.actions.errors import Stale
from studio.workshop.actions.history import note
from studio.workshop.models import Job, Person

Row = TypeVar("Row", bound=Model)


@transaction.atomic
def change(row: Row, values: dict[str, Any], *, version: int, by: Person, now: datetime, job: Job | None = None) -> Row:
    """Writes ``values`` where the row still has ``version``. Raises Stale, with the row as it is now, where it has not."""
    rows = type(row)._default_manager
    if not rows.filter(pk=row.pk, version=version).update(version=F("version") + 1, **values):
        raise Stale(rows.get(pk=row.pk))
    changed = rows.get(pk=row.pk)
    note("changed", changed, by=by, now=now, job=job)
    return changed
