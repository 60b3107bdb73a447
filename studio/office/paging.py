"""Lists that grow, 50 at a time. The address holds the last row seen, so that a new row moves nothing about."""

from dataclasses import dataclass
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
    """One page of rows in the order of a date or time field that is never null, and of the primary key within it.

    A key that means nothing gives the first page.
    """
    model, (order, step) = rows.model, ("-", "lt") if newest_first else ("", "gt")
    ordered = rows.order_by(f"{order}{by}", f"{order}pk")
    value, _, key = after.rpartition("~")
    seen = Q()
    try:
        if after:
            seen = _beyond(
                by, step, _field(model, by).to_python(value), _field(model, model._meta.pk.name).to_python(key)
            )
    except (ValidationError, ValueError):
        after = ""
    found = list(ordered.filter(seen)[: SIZE + 1])
    last = found[SIZE - 1] if len(found) > SIZE else None
    further = f"{getattr(last, by).isoformat()}~{last.pk}" if last else ""
    return Page(found[:SIZE], further, not after)


def _field(model: type[Model], name: str) -> "Field[Any, Any]":
    return cast("Field[Any, Any]", model._meta.get_field(name))


def _beyond(by: str, step: str, value: Any, key: Any) -> Q:
    return Q(**{f"{by}__{step}": value}) | Q(**{by: value, f"pk__{step}": key})
