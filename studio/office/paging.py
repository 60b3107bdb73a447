"""Lists that grow, 50 at a time. The address holds the last row seen, so that a new row moves nothing about."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Generic, TypeVar, cast

from django.core.exceptions import ValidationError
from django.db.models import Field, Model, Q, QuerySet

Row = TypeVar("Row", bound=Model)
SIZE = 50


@dataclass(frozen=True)
class Page(Generic[Row]):
    """``further`` is the key of the next page, empty on the last; ``first`` is False on all but the first."""

    rows: list[Row]
    further: str
    first: bool


def page_by_key(rows: QuerySet[Row], after: str, *, by: str, newest_first: bool = True) -> Page[Row]:
    """One page of rows in the order of a field that is never null, and of the primary key within it.

    A key that means nothing gives the first page.
    """
    model, (order, step) = rows.model, ("-", "lt") if newest_first else ("", "gt")
    ordered = rows.order_by(f"{order}{by}", f"{order}pk")
    value, _, key = after.rpartition("~")
    seen = Q()
    try:
        if after:
            seen = _beyond(by, step, _read(model, by, value), _read(model, model._meta.pk.name, key))
    except (ValidationError, ValueError, OverflowError):
        after = ""
    found = list(ordered.filter(seen)[: SIZE + 1])
    last = found[SIZE - 1] if len(found) > SIZE else None
    further = f"{_written(getattr(last, by))}~{last.pk}" if last else ""
    return Page(found[:SIZE], further, not after)


def _read(model: type[Model], name: str, text: str) -> Any:
    """Raises ValidationError, ValueError or OverflowError where the text is nothing that a database can compare."""
    value = cast("Field[Any, Any]", model._meta.get_field(name)).to_python(text)
    if isinstance(value, str) and "\0" in value:
        raise ValueError(name)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise ValueError(name)
        return value.astimezone(UTC)  # the first and last hours of the calendar have none in UTC
    return value


def _written(value: Any) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _beyond(by: str, step: str, value: Any, key: Any) -> Q:
    return Q(**{f"{by}__{step}": value}) | Q(**{by: value, f"pk__{step}": key})
