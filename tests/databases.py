"""Databases of a test's own, beside the one that pytest-django makes."""

from urllib.parse import quote
from uuid import uuid4

from django.db import connection

SQLITE, POSTGRESQL = "sqlite", "postgresql"


class Databases:
    """Empty ones, by their addresses; gone again after the test."""

    def __init__(self) -> None:
        self.made: list[str] = []

    def new(self, kind: str) -> str:
        if kind == SQLITE:
            return ""  # the data folder has one
        name = f"drill_{uuid4().hex[:12]}"
        self._execute(f"CREATE DATABASE {name}")
        self.made.append(name)
        known = connection.settings_dict
        user, password, host = (quote(str(known[key]), safe="") for key in ("USER", "PASSWORD", "HOST"))
        return f"postgresql://{user}:{password}@/{name}?host={host}&port={known['PORT'] or 5432}"

    def drop(self) -> None:
        for name in self.made:
            self._execute(f"DROP DATABASE {name} WITH (FORCE)")

    def _execute(self, statement: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement)
