"""Tables as lines of JSON: written from any database of ours, and read into any other."""

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connections
from django.db.models import AutoField, Field, JSONField, Max, Model

from studio.workshop.models import Client, Job, Person

AT_ONCE = 500
# Whatever else is installed is kept, so that nothing is forgotten. These apps' tables are not:
LEFT_OUT = {
    "sessions": "a stolen back-up should open no door: everybody signs in again",
    "contenttypes": "made by migrate, with numbers of each database's own",
    "auth": "permissions are made by migrate, and nobody here has a group: what somebody may do is their role",
    "admin": "the admin changes nothing, so its log is empty",
}


class BadRow(Exception):
    """A line of a table that is no row of this version's."""


@dataclass(frozen=True)
class Table:
    """What a table holds. ``last_id`` is the highest number ever given in it: history names what was deleted since by
    its number, so that no number may be given twice. 0 where the database does not count."""

    rows: int
    sha256: str
    last_id: int


def kept_models() -> list[type[Model]]:
    every = (model for model in apps.get_models(include_auto_created=True) if model._meta.managed)
    kept = (model for model in every if not model._meta.proxy and model._meta.app_label not in LEFT_OUT)
    return sorted(kept, key=lambda model: model._meta.db_table)


def in_use(alias: str) -> bool:
    """Whether somebody works in this record. What a first start sets out does not count."""
    tables = connections[alias].introspection.table_names()
    first = [model for model in (Person, Client, Job) if model._meta.db_table in tables]
    return any(model._base_manager.using(alias).exists() for model in first)


def _fields(model: type[Model]) -> list["Field[Any, Any]"]:
    return list(model._meta.concrete_fields)


def lines(model: type[Model], alias: str) -> Iterator[bytes]:
    """Each row as one line. The same row is the same line from every database."""
    rows = model._base_manager.using(alias).order_by("pk")
    for row in rows.iterator(chunk_size=AT_ONCE):
        values = {field.attname: _plain(field, row) for field in _fields(model)}
        # Sorted, because PostgreSQL keeps the objects in a JSONField in an order of its own.
        text = json.dumps(values, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        yield text.encode() + b"\n"


def _plain(field: "Field[Any, Any]", row: Model) -> Any:
    """What JSON has a word for stays what it is; the rest is text as Django itself writes it."""
    value = field.value_from_object(row)
    if value is None or isinstance(value, (bool, int)) or isinstance(field, JSONField):
        return value
    return field.value_to_string(row)


def tell(model: type[Model], alias: str) -> Table:
    """Count and checksum of a table as it stands in a database, to be compared with another's."""
    digest = hashlib.sha256()
    for line in lines(model, alias):
        digest.update(line)
    return Table(count(model, alias), digest.hexdigest(), last_id(model, alias))


def count(model: type[Model], alias: str) -> int:
    return model._base_manager.using(alias).count()


def read(model: type[Model], path: Path) -> Iterator[Model]:
    """The rows of a file, none of them saved yet. Raises BadRow."""
    fields = {field.attname: field for field in _fields(model)}
    with path.open("rb") as file:
        for number, line in enumerate(file, start=1):
            try:
                values = json.loads(line)
                if set(values) != set(fields):
                    raise BadRow(f"row {number} has other fields than this version knows")
                yield model(**{name: field.to_python(values[name]) for name, field in fields.items()})
            except (ValueError, TypeError, ValidationError) as error:
                raise BadRow(f"row {number} cannot be read") from error


def load(model: type[Model], rows: Iterable[Model], alias: str) -> None:
    """Puts rows into an empty table, as they are. Call it inside a transaction: what rows point at may come later in it."""
    waiting = iter(rows)
    while batch := list(islice(waiting, AT_ONCE)):
        model._base_manager.using(alias).bulk_create(batch)


def empty(model: type[Model], alias: str) -> None:
    """Deletes all rows, without looking for what points at them: that is emptied in the same transaction."""
    model._base_manager.using(alias).all()._raw_delete(alias)


def last_id(model: type[Model], alias: str) -> int:
    if not isinstance(model._meta.pk, AutoField):
        return 0
    table, column = model._meta.db_table, model._meta.pk.column
    with connections[alias].cursor() as cursor:
        if connections[alias].vendor == "sqlite":
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        else:
            cursor.execute("SELECT pg_sequence_last_value(pg_get_serial_sequence(%s, %s)::regclass)", [table, column])
        given = cursor.fetchone()
    largest = model._base_manager.using(alias).aggregate(largest=Max("pk"))["largest"]
    return max((given and given[0]) or 0, largest or 0)


def count_from(model: type[Model], last: int, alias: str) -> None:
    """The next row gets a number after ``last``."""
    if not last or not isinstance(model._meta.pk, AutoField):
        return
    table, column = model._meta.db_table, model._meta.pk.column
    with connections[alias].cursor() as cursor:
        if connections[alias].vendor == "sqlite":
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
            cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, last])
        else:
            cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s)::regclass, %s)", [table, column, last])
