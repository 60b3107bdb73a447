"""A studio that was on SQLite goes on on PostgreSQL: the command as it is typed, on data folders of its own."""

import fcntl
import hashlib
import json
import re
import sqlite3
from pathlib import Path
from typing import Any

import psycopg
import pytest

from studio import settings as written
from tests.databases import POSTGRESQL, Databases
from tests.workshop.processes import manage, said, start_in

pytestmark = pytest.mark.django_db(transaction=True)
on_postgresql = pytest.mark.skipif(written.SQLITE, reason="runs where a PostgreSQL is named")

FILL = """
import json, os
from django.contrib.sessions.backends.db import SessionStore
from django.test import Client
from studio.workshop import actions, errands
from studio.workshop.links import path_for
from studio.workshop.models import Errand, ErrandState, Kind, Stage, StageKind
from tests import builders
from tests.conftest import NOW
from tests.workshop import records
links = records.fill()
lead = builders.lead()
lead.set_password("a lump of wet plaster")
lead.save()
browser = Client(headers={"host": "127.0.0.1"})
assert browser.login(email=lead.email, password="a lump of wet plaster")
paint = StageKind.objects.get(name="paint")
deleted = actions.add_stage(builders.piece(links[2].job), kind=paint, by=lead, now=NOW).pk
Stage.objects.filter(pk=deleted).delete()
# A letter that its worker never finished, and one that was cut off in the moment in which nobody can know.
waiting = Errand.objects.filter(kind=Kind.SEND_LETTER, state=ErrandState.WAITING).first()
assert errands.claim(waiting.pk, waiting.due_at)
invite = Errand.objects.create(kind=Kind.INVITE, key="invite", subject=str(lead.pk), asked_at=NOW, due_at=NOW)
errands.begin_handing(errands.claim(invite.pk, NOW))
print(json.dumps({
    "paths": [path_for(link) for link in links], "deleted": deleted, "session": browser.cookies["sessionid"].value,
}), flush=True)
os._exit(0)  # as in a power cut: what was written last is not yet in the file itself, but in the log beside it
"""
ROWS = """
import json
from tests.workshop import records
found = {table: {str(key): row for key, row in rows.items()} for table, rows in records.rows().items()}
print(json.dumps(found, sort_keys=True, default=repr))
"""
LOOK = """
import json, re, sys
from datetime import timedelta
from django.test import Client
from studio.workshop import letters
from studio.workshop.models import Errand, Letter, Notice, Photo
from tests import builders
from tests.conftest import NOW
from tests.workshop import records
told = json.loads(sys.argv[1])
pages, pictures = [], []
for path in told["paths"]:
    page = Client(headers={"host": "127.0.0.1"}).get(path)
    pages.append(page.status_code)
    for name in re.findall("[0-9a-f]{64}[.]jpg", page.content.decode()):
        pictures.append(Client(headers={"host": "127.0.0.1"}).get(path + name).status_code)
signed_in = Client(headers={"host": "127.0.0.1"})
signed_in.cookies["sessionid"] = told["session"]
anew = Client(headers={"host": "127.0.0.1"})
added = builders.stage(builders.job("Signpost")).pk
for hours in range(3):
    records.run_everything(NOW + timedelta(days=2, hours=hours))
print(json.dumps({
    "pages": pages, "pictures": pictures,
    "still_in": signed_in.get("/office/").status_code,
    "in_anew": anew.login(email=builders.lead().email, password="a lump of wet plaster"),
    "added": added,
    "letters": [letters.read_outbox(key).subject for key in Letter.objects.values_list("pk", flat=True)],
    "owed": Notice.objects.exclude(state="told").count(),
    "errands": sorted(Errand.objects.exclude(state="done").values_list("kind", "state")),
    "photos": sorted(set(Photo.objects.values_list("state", flat=True))),
}))
"""


def filled(data: Path) -> dict[str, Any]:
    """A studio on SQLite in a new data folder, and what is to be known of it."""
    assert manage("migrate", "-v0", data=data).returncode == 0
    assert manage("set_out", data=data).returncode == 0
    told: dict[str, Any] = json.loads(said(start_in(FILL, data=data)))
    assert (data / "studio.sqlite3-wal").stat().st_size > 0
    return told


def counts(url: str) -> dict[str, int]:
    with psycopg.connect(url) as there:
        tables = there.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        found = {name: there.execute(f'SELECT count(*) FROM "{name}"').fetchone() for (name,) in tables}
    return {name: count[0] for name, count in found.items() if count}


def nothing_stands_in(url: str) -> bool:
    return not any(count for table, count in counts(url).items() if table.startswith("workshop_"))


def execute(url: str, statement: str) -> None:
    with psycopg.connect(url) as there:
        there.execute(statement)


@on_postgresql
def test_a_studio_goes_on_where_it_stopped(databases: Databases, tmp_path: Path) -> None:
    data, url = tmp_path / "data? of a 100% test", databases.new(POSTGRESQL)
    told = filled(data)
    before = hashlib.sha256((data / "studio.sqlite3").read_bytes()).hexdigest()

    # As a first start in compose leaves it: set out, and empty.
    for command in (["migrate", "-v0"], ["portal_role"], ["set_out"]):
        assert manage(*command, data=data, database_url=url).returncode == 0
    done = manage("move_database", data=data, database_url=url)
    assert done.returncode == 0, done.stderr
    assert "DIFFERENT" not in done.stdout
    lines = re.findall(r"^(\w+) +([\d,]+) ([0-9a-f]{16}) +([\d,]+) ([0-9a-f]{16}) same$", done.stdout, re.MULTILINE)
    assert all((count, sha) == (count_there, sha_there) for _, count, sha, count_there, sha_there in lines)
    in_there = counts(url)
    assert {table: int(count.replace(",", "")) for table, count, *_ in lines} == {
        table: count for table, count in in_there.items() if table.startswith("workshop_") or table == "django_session"
    }
    assert in_there["django_session"] == 1
    assert (
        f"Moved {sum(int(count.replace(',', '')) for _, count, *_ in lines)} rows of {len(lines)} tables in "
        in done.stdout
    )
    assert hashlib.sha256((data / "studio.sqlite3").read_bytes()).hexdigest() == before

    refused = manage("backup", str(tmp_path / "copy"), data=data)
    assert refused.returncode == 1
    assert refused.stderr == (
        f"STUDIO_DATABASE_URL: the record of {data} was moved to PostgreSQL. Write its address here again; "
        f"to go on with the old file instead, delete {data}/moved-to-postgresql.\n"
    )
    again = manage("move_database", data=data, database_url=url)
    assert again.stderr.startswith("CommandError: This record was moved already.")
    (data / "moved-to-postgresql").unlink()
    # Read without the code that moves: every value of every row.
    assert said(start_in(ROWS, data=data, database_url=url)) == said(start_in(ROWS, data=data))

    found = json.loads(said(start_in(LOOK, json.dumps(told), data=data, database_url=url)))
    assert found["pages"] == [200, 200, 200]
    assert found["pictures"]
    assert set(found["pictures"]) == {200}
    assert found["still_in"] == 200
    assert found["in_anew"] is True
    assert found["added"] > told["deleted"]
    # What was begun is done once more, what had perhaps left waits for a person, and what waited leaves once.
    assert found["photos"] == ["developed"]
    assert found["errands"] == [["invite", "unknown"]]
    assert found["owed"] == 1  # for the lead to look at
    assert sorted(found["letters"]) == [
        "Snail: carving is done",
        "Stuck: Leaning lamp post, lay-up",
        "Talking watering can: carving is done",
        "Talking watering can: mould is done",
    ]


CHANGE = "UPDATE workshop_job SET name = name || ' ' WHERE id = NEW.id; RETURN NULL;"
LOSE = "DELETE FROM workshop_closure WHERE id = NEW.id; RETURN NULL;"


@on_postgresql
@pytest.mark.parametrize(("fault", "table"), [(CHANGE, "workshop_job"), (LOSE, "workshop_closure")])
def test_one_row_that_is_changed_or_missing_there_undoes_all(
    fault: str, table: str, databases: Databases, tmp_path: Path
) -> None:
    """By a trigger in the target itself, so that all that looks at it is the command as it is."""
    data, url = tmp_path / "data", databases.new(POSTGRESQL)
    filled(data)
    with sqlite3.connect(data / "studio.sqlite3") as here:
        (count,) = here.execute(f"SELECT count(*) FROM {table}").fetchone()
    here.close()
    assert manage("migrate", "-v0", data=data, database_url=url).returncode == 0
    execute(url, f"CREATE FUNCTION fault() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {fault} END $$")
    execute(url, f"CREATE TRIGGER fault AFTER INSERT ON {table} FOR EACH ROW EXECUTE FUNCTION fault()")
    done = manage("move_database", data=data, database_url=url)
    assert done.returncode == 1
    (line,) = [line for line in done.stdout.splitlines() if line.endswith("DIFFERENT")]
    name, here_rows, here_sha, there_rows, there_sha, _ = line.split()
    assert (name, int(here_rows), int(there_rows)) == (table, count, count - (fault == LOSE))
    assert here_sha != there_sha
    assert done.stderr.startswith(f"CommandError: What was read back is not what is in the file: {table}.")
    assert done.stderr.count("\n") == 1
    assert nothing_stands_in(url)
    assert manage("check", data=data).returncode == 0  # it goes on on SQLite

    execute(url, f"DROP TRIGGER fault ON {table}")
    assert manage("move_database", data=data, database_url=url).returncode == 0


@on_postgresql
def test_what_cannot_stand_there_is_told_and_undoes_all(databases: Databases, tmp_path: Path) -> None:
    """SQLite lets longer words in than the field has room for, what nothing of ours does."""
    data, url = tmp_path / "data", databases.new(POSTGRESQL)
    filled(data)
    for statement, words in (
        (
            f"UPDATE workshop_job SET name = '{'x' * 500}' WHERE id = 1",
            "A row of workshop_job cannot stand in PostgreSQL",
        ),
        (
            "UPDATE workshop_job SET name = 'Boot' || char(0) WHERE id = 1",
            "A row of workshop_job cannot stand in PostgreSQL",
        ),
        ("UPDATE workshop_job SET name = 'Boot', client_id = 999", "A row points at one that is not there"),
    ):
        with sqlite3.connect(data / "studio.sqlite3") as here:
            here.execute(statement)
        here.close()
        done = manage("move_database", data=data, database_url=url)
        assert done.returncode == 1
        assert done.stderr.startswith(f"CommandError: {words}"), done.stderr
        assert "Traceback" not in done.stderr
        assert nothing_stands_in(url)
        assert not (data / "moved-to-postgresql").exists()


@on_postgresql
def test_it_takes_only_an_empty_database(databases: Databases, tmp_path: Path) -> None:
    data, url = tmp_path / "data", databases.new(POSTGRESQL)
    filled(data)
    assert manage("migrate", "-v0", data=tmp_path / "other", database_url=url).returncode == 0
    said(start_in("from tests import builders\nbuilders.lead()", data=tmp_path / "other", database_url=url))
    before = counts(url)
    done = manage("move_database", data=data, database_url=url)
    assert (done.returncode, done.stdout) == (1, "")
    assert (
        done.stderr
        == "CommandError: The PostgreSQL of STUDIO_DATABASE_URL holds a studio already. Name an empty one.\n"
    )
    assert counts(url) == before

    strange = databases.new(POSTGRESQL)
    execute(strange, "CREATE TABLE ledger (page integer)")
    done = manage("move_database", data=data, database_url=strange)
    assert done.returncode == 1
    assert done.stderr == (
        "CommandError: The PostgreSQL of STUDIO_DATABASE_URL holds something else already (ledger). Name an empty one.\n"
    )
    assert counts(strange) == {"ledger": 0}
    assert not (data / "moved-to-postgresql").exists()


@on_postgresql
def test_not_while_the_studio_runs_nor_without_a_record_nor_from_another_version(
    databases: Databases, tmp_path: Path
) -> None:
    data, url = tmp_path / "data", databases.new(POSTGRESQL)
    done = manage("move_database", data=data, database_url=url)
    assert done.stderr == (
        f"CommandError: There is no {data}/studio.sqlite3 to move. Name the folder that has it with STUDIO_DATA.\n"
    )
    assert not (data / "studio.sqlite3").exists()
    filled(data)
    with (data / "up.lock").open("w") as lock:  # what `up` holds for as long as it runs
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = manage("move_database", data=data, database_url=url)
    assert done.returncode == 1
    assert done.stderr.startswith(f"CommandError: The studio runs already on {data}. Stop it where it runs (Ctrl-C)")
    assert counts(url) == {}

    with sqlite3.connect(data / "studio.sqlite3") as here:
        here.execute("UPDATE django_migrations SET name = '0009_later' WHERE app = 'workshop'")
    here.close()
    done = manage("move_database", data=data, database_url=url)
    assert done.returncode == 1
    assert "is from another version than this program. Start the studio once without STUDIO_DATABASE_URL" in done.stderr
    assert nothing_stands_in(url)


@pytest.mark.once
def test_without_a_postgresql_named_nothing_is_moved(tmp_path: Path) -> None:
    done = manage("move_database", data=tmp_path)
    assert done.returncode == 1
    assert done.stderr.startswith(
        "CommandError: Name the empty PostgreSQL in STUDIO_DATABASE_URL, such as postgresql://"
    )
    assert done.stderr.count("\n") == 1


@pytest.mark.once
def test_nothing_goes_on_with_the_old_file_unawares(tmp_path: Path) -> None:
    """A start, or a nightly back-up, that forgot the variable."""
    assert manage("migrate", "-v0", data=tmp_path).returncode == 0
    (tmp_path / "moved-to-postgresql").touch()
    for command in (["up", "--port", "0"], ["backup", str(tmp_path / "copy")], ["move_database"]):
        done = manage(*command, data=tmp_path)
        assert done.returncode == 1
        assert done.stderr.startswith(f"STUDIO_DATABASE_URL: the record of {tmp_path} was moved to PostgreSQL.")
        assert done.stderr.count("\n") == 1
    assert not (tmp_path / "copy").exists()
