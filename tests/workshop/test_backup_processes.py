"""The commands as they are typed: on data folders of their own, while somebody writes, from either database to the other."""

import json
import time
from pathlib import Path
from typing import Any

import pytest

from studio import settings as written
from tests.databases import POSTGRESQL, SQLITE, Databases
from tests.workshop.processes import manage, said, start_in

pytestmark = pytest.mark.django_db(transaction=True)

FILL = """
from datetime import timedelta
from studio.workshop.models import History
from studio.workshop.links import path_for
from tests import builders
from tests.conftest import NOW
link = builders.link(builders.job())
builders.log_done(builders.stage(link.job))
builders.work()
builders.work(NOW + timedelta(minutes=10))
builders.log_done(builders.stage(link.job, "mould"))
builders.work()
History.objects.bulk_create([History(at=NOW, verb="made", subject=f"row {n}") for n in range(20_000)])
print(path_for(link))
"""
ADD_PAIRS = """
import sys, time
from datetime import date
from pathlib import Path
from django.db import transaction
from studio.workshop.models import Closure, Place
progress, day = Path(sys.argv[1]), date(2026, 3, 10)
for number in range(1_000_000):
    with transaction.atomic():
        Place.objects.create(name=f"pair {number}")
        Closure.objects.create(name=f"pair {number}", first_day=day, last_day=day)
    with progress.open("a") as file:
        file.write(f"{time.time()}\\n")
    if progress.with_suffix(".stop").exists():
        break
"""
LOOK = """
import json, re, sys
from django.test import Client
from studio.workshop.backup import rows
from studio.workshop.models import Errand
path = sys.argv[1]
# Before the page is opened, for its day is noted.
tables = {model._meta.db_table: vars(rows.tell(model, "default")) for model in rows.kept_models()}
page = Client(headers={"host": "127.0.0.1"}).get(path)
names = re.findall("[0-9a-f]{64}[.]jpg", page.content.decode())
print(json.dumps({
    "page": page.status_code,
    "pictures": [Client(headers={"host": "127.0.0.1"}).get(path + name).status_code for name in names],
    "tables": tables,
    "errands": sorted(Errand.objects.exclude(state="done").values_list("kind", "state")),
}))
"""
WAYS = [(SQLITE, SQLITE)] if written.SQLITE else [(SQLITE, POSTGRESQL), (POSTGRESQL, POSTGRESQL), (POSTGRESQL, SQLITE)]


def hours(progress: Path) -> list[float]:
    """When each pair was there."""
    return [float(line) for line in progress.read_text().splitlines()] if progress.exists() else []


def names(place: Path, table: str) -> set[str]:
    lines = (place / "rows" / f"{table}.jsonl").read_text().splitlines()
    return {name for line in lines if (name := json.loads(line)["name"]).startswith("pair ")}


def keys(folder: Path) -> dict[str, bytes]:
    """Every file of keys that the studio keeps there, whichever they are; and they are their owner's alone."""
    found = [path for path in folder.glob("*.key") if path.name != "metrics.key"]
    assert {path.stat().st_mode & 0o777 for path in found} == {0o600}
    return {path.name: path.read_bytes() for path in found}


@pytest.mark.parametrize(("source", "target"), WAYS)
def test_a_back_up_while_somebody_writes_restored_elsewhere(
    source: str, target: str, databases: Databases, tmp_path: Path
) -> None:
    here: dict[str, Any] = {"data": tmp_path / "here", "database_url": databases.new(source)}
    there: dict[str, Any] = {"data": tmp_path / "there", "database_url": databases.new(target)}
    copy, progress = tmp_path / "copy", tmp_path / "pairs"
    assert manage("migrate", "-v0", **here).returncode == 0
    assert manage("portal_role", **here).returncode == 0
    path = said(start_in(FILL, **here))

    writer = start_in(ADD_PAIRS, str(progress), **here)
    until = time.monotonic() + 30
    while len(hours(progress)) < 20 and time.monotonic() < until:
        time.sleep(0.02)
    before = len(hours(progress))
    made = manage("backup", str(copy), **here)
    progress.with_suffix(".stop").touch()
    said(writer)
    assert made.returncode == 0, made.stderr
    assert made.stdout.endswith("Verified.\n")
    # Every pair is whole, and those from before are all there.
    pairs = names(copy, "workshop_place")
    assert names(copy, "workshop_closure") == pairs
    assert len(pairs) >= before >= 20
    # While rows were read, more were written, and nobody had to wait until it was over.
    began, ended = ((copy / "rows" / f"workshop_{name}.jsonl").stat().st_mtime for name in ("absence", "stuck"))
    meanwhile = [hour for hour in hours(progress) if began < hour < ended]
    assert len(meanwhile) > 10

    done = manage("restore", str(copy), **there)
    assert done.returncode == 0, done.stderr
    assert "will not all open" not in done.stdout
    assert keys(copy / "keys") == keys(there["data"]) == keys(here["data"])
    assert len(keys(copy / "keys")) == 2
    found = json.loads(said(start_in(LOOK, path, **there)))
    assert found["page"] == 200
    assert found["pictures"]
    assert set(found["pictures"]) == {200}
    tables = json.loads((copy / "manifest.json").read_text())["tables"]
    differ = {table for table in tables if tables[table] != found["tables"][table]}
    assert differ == {"workshop_errand"}  # the letter that waited is held
    assert ["send_letter", "unknown"] in found["errands"]
    assert ["send_letter", "waiting"] not in found["errands"]

    again = manage("restore", str(copy), **there)
    assert again.returncode == 1
    assert again.stderr.startswith(
        "CommandError: This record is in use already. Choose an empty folder with STUDIO_DATA"
    )
    assert again.stderr.count("\n") == 1


@pytest.mark.once
def test_another_key_in_the_environment_is_told(tmp_path: Path) -> None:
    here: dict[str, Any] = {"data": tmp_path / "here"}
    assert manage("migrate", "-v0", **here).returncode == 0
    assert manage("set_out", **here).returncode == 0
    assert manage("backup", str(tmp_path / "copy"), **here).returncode == 0
    key = (tmp_path / "here" / "link.key").read_text()
    other = "another key that nobody could guess"
    for number, (given, told) in enumerate(
        [
            ({}, False),
            ({"STUDIO_LINK_KEY": other}, True),
            ({"STUDIO_LINK_KEY": key}, False),
            ({"STUDIO_LINK_KEY": other, "STUDIO_LINK_KEY_FALLBACKS": key}, False),
        ]
    ):
        done = manage("restore", str(tmp_path / "copy"), data=tmp_path / f"there {number}", **given)
        assert done.returncode == 0, done.stderr
        assert ("STUDIO_LINK_KEY" in done.stdout) is told, given

    kept = manage("backup", str(tmp_path / "second"), **here, STUDIO_LINK_KEY=other)
    assert "Not in it, because they come from the environment; keep them elsewhere: STUDIO_LINK_KEY.\n" in kept.stdout
    assert [path.name for path in (tmp_path / "second" / "keys").iterdir()] == ["secret.key"]
    done = manage("restore", str(tmp_path / "second"), data=tmp_path / "forgotten")
    assert "Links that clients have will not all open" in done.stdout


@pytest.mark.once
def test_keys_that_were_replaced_are_backed_up_with_the_earlier_ones(tmp_path: Path) -> None:
    """Addresses that are out there were signed with either; and the folder may be called anything."""
    here: dict[str, Any] = {"data": tmp_path / "here? 100% #1"}
    for words in (["migrate", "-v0"], ["set_out"], ["rotate_link_key"], ["rotate_link_key"]):
        assert manage(*words, **here).returncode == 0
    newest, middle, oldest = (here["data"] / "link.key").read_text().split()
    made = manage("backup", str(tmp_path / "copy"), **here)
    assert made.returncode == 0, made.stderr
    assert "from the environment" not in made.stdout
    assert keys(tmp_path / "copy" / "keys") == keys(here["data"])

    for number, (given, told) in enumerate(
        [
            ({}, False),
            ({"STUDIO_LINK_KEY": newest}, True),
            ({"STUDIO_LINK_KEY": newest, "STUDIO_LINK_KEY_FALLBACKS": middle}, True),
            ({"STUDIO_LINK_KEY": newest, "STUDIO_LINK_KEY_FALLBACKS": f"{oldest},{middle}"}, False),
        ]
    ):
        done = manage("restore", str(tmp_path / "copy"), data=tmp_path / f"there {number}", **given)
        assert done.returncode == 0, done.stderr
        assert ("will not all open" in done.stdout) is told, given
        assert keys(tmp_path / f"there {number}") == keys(here["data"])

    earlier = "an earlier key that nobody could guess"
    made = manage("backup", str(tmp_path / "with an earlier one"), **here, STUDIO_LINK_KEY_FALLBACKS=earlier)
    assert "keep them elsewhere: STUDIO_LINK_KEY_FALLBACKS.\n" in made.stdout
    done = manage("restore", str(tmp_path / "with an earlier one"), data=tmp_path / "without it")
    assert "will not all open" in done.stdout


@pytest.mark.once
def test_where_there_is_no_record_yet(tmp_path: Path) -> None:
    made = manage("backup", str(tmp_path / "copy"), data=tmp_path / "mistyped")
    assert made.returncode == 1
    assert made.stderr == (
        f"CommandError: There is no record in {tmp_path / 'mistyped'}. Name the folder that has it with STUDIO_DATA.\n"
    )
    assert not (tmp_path / "copy").exists()
