"""Which database connection a query uses: the client's pages read through a connection that cannot write."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

_alias: ContextVar[str | None] = ContextVar("alias", default=None)


@contextmanager
def reading_as_portal() -> Iterator[None]:
    """Inside this block every query, reads and writes alike, goes to the read-only connection."""
    token = _alias.set("portal")
    try:
        yield
    finally:
        _alias.reset(token)


class PortalRouter:
    """Sends writes there too, on purpose: a write is then refused by the database, not re-routed."""

    def db_for_read(self, model: Any, **hints: Any) -> str | None:
        return _alias.get()

    def db_for_write(self, model: Any, **hints: Any) -> str | None:
        return _alias.get()

    def allow_relation(self, one: Any, other: Any, **hints: Any) -> bool:
        return True

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:
        return db == "default"
