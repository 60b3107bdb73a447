"""A write through the portal's connection is refused by the database itself."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import DatabaseError, connections, transaction
from django.db.utils import ConnectionHandler

from studio import settings as written
from studio.routers import reading_as_portal
from studio.workshop.models import Confirmation, Job, Link, Person, Stage
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])

REFUSED = "(?i)read-?only"  # "attempt to write a readonly database"; "cannot execute INSERT in a read-only transaction"
POSTGRESQL_ONLY = pytest.mark.skipif(written.SQLITE, reason="about a role of PostgreSQL")
SQLITE_ONLY = pytest.mark.skipif(not written.SQLITE, reason="about files of SQLite")


def _insert() -> None:
    Confirmation.objects.create(job=Job.objects.get(), words="It is early.", by=Person.objects.only("pk")[0], at=NOW)


def _bulk_insert() -> None:
    Confirmation.objects.bulk_create([Confirmation(job_id=1, words="It is early.", by_id=1, at=NOW)])


def _update() -> None:
    Job.objects.update(name="Something else")


def _save() -> None:
    Stage.objects.order_by("pk")[0].save()


def _delete() -> None:
    Link.objects.all().delete()


def _delete_one() -> None:
    Link.objects.get().delete()


def _locked() -> None:
    with transaction.atomic(using="portal"):
        _update()


def rows() -> list[Any]:
    return [list(model.objects.order_by("pk").values_list()) for model in (Job, Stage, Link, Confirmation)]


@pytest.mark.parametrize("write", [_insert, _bulk_insert, _update, _save, _delete, _delete_one, _locked])
def test_the_orm_cannot_write_while_reading_for_the_portal(write: Callable[[], None]) -> None:
    builders.link(builders.job())
    before = rows()
    with reading_as_portal(), pytest.raises(DatabaseError, match=REFUSED):
        write()
    assert rows() == before
    write_is_well_formed = {_insert, _update, _save, _delete, _delete_one}
    if write in write_is_well_formed:  # by the other connection it goes through, so it was the fence that refused it
        write()


@pytest.mark.parametrize(
    "sql",
    [
        "INSERT INTO workshop_client (name, version) VALUES ('x', 1)",
        "UPDATE workshop_job SET name = 'x'",
        "DELETE FROM workshop_link",
        "DROP TABLE workshop_link",
        "CREATE TABLE mine (id integer)",
    ],
)
def test_sql_cannot_either(sql: str) -> None:
    builders.link(builders.job())
    before = rows()
    with connections["portal"].cursor() as cursor, pytest.raises(DatabaseError, match=REFUSED):
        cursor.execute(sql)
    assert rows() == before


@pytest.fixture
def real_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ConnectionHandler:
    """Both connections as the settings make them, to a real file with one table and one row."""
    place = {"ENGINE": "django.db.backends.sqlite3", "NAME": str(tmp_path / "real.sqlite3")}
    monkeypatch.setattr(written, "DATABASE", place)
    made = ConnectionHandler(
        {"default": written._connection(read_only=False), "portal": written._connection(read_only=True)}
    )
    with made["default"].cursor() as cursor:
        cursor.execute("CREATE TABLE words (said text)")
        cursor.execute("INSERT INTO words VALUES ('on time')")
    return made


@SQLITE_ONLY
def test_switching_the_second_fence_off_does_not_open_the_first(real_file: ConnectionHandler) -> None:
    """SQLite's ``query_only`` can be unset by SQL; ``mode=ro`` cannot (sqlite.org, "PRAGMA query_only", "URI filenames")."""
    try:
        with real_file["portal"].cursor() as cursor:
            cursor.execute("PRAGMA query_only=OFF")
            assert cursor.execute("PRAGMA query_only").fetchone() == (0,)
            for sql in ("INSERT INTO words VALUES ('late')", "DELETE FROM words", "DROP TABLE words"):
                with pytest.raises(DatabaseError, match=REFUSED):
                    cursor.execute(sql)
            assert cursor.execute("SELECT said FROM words").fetchall() == [("on time",)]
    finally:
        for alias in real_file:
            real_file[alias].close()


@SQLITE_ONLY
def test_it_sees_what_was_written_a_moment_ago(real_file: ConnectionHandler) -> None:
    try:
        with real_file["portal"].cursor() as reader, real_file["default"].cursor() as writer:
            assert reader.execute("SELECT count(*) FROM words").fetchone() == (1,)
            writer.execute("INSERT INTO words VALUES ('later')")
            assert reader.execute("SELECT count(*) FROM words").fetchone() == (2,)
    finally:
        for alias in real_file:
            real_file[alias].close()


@POSTGRESQL_ONLY
def test_the_role_may_not_write_where_the_transaction_may() -> None:
    builders.link(builders.job())
    before = rows()
    with transaction.atomic(using="portal"), connections["portal"].cursor() as cursor:
        cursor.execute("SET TRANSACTION READ WRITE")
        with pytest.raises(DatabaseError, match="permission denied"), transaction.atomic(using="portal"):
            cursor.execute("UPDATE workshop_job SET name = 'x'")
    assert rows() == before


@POSTGRESQL_ONLY
@pytest.mark.parametrize("table", ["workshop_letter", "workshop_history", "workshop_errand", "django_session"])
def test_the_role_may_not_read_what_no_page_shows(table: str) -> None:
    with connections["portal"].cursor() as cursor, pytest.raises(DatabaseError, match="permission denied"):
        cursor.execute(f"SELECT * FROM {table}")


@POSTGRESQL_ONLY
def test_the_role_may_not_read_a_password() -> None:
    with connections["portal"].cursor() as cursor, pytest.raises(DatabaseError, match="permission denied"):
        cursor.execute("SELECT password FROM workshop_person")
