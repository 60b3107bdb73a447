"""What is in a back-up, read without the code that made it: by hashlib, by coreutils' sha256sum, and as RFC 8259 has JSON."""

import hashlib
import json
import subprocess
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db.models import ForeignObject

from studio.workshop.backup import rows
from studio.workshop.models import Entry, Person, Photo, Rendition
from tests.conftest import NOW
from tests.workshop import records

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])


@pytest.fixture
def copy(tmp_path: Path, published: list[str]) -> Path:
    records.fill()
    records.back_up(tmp_path / "copy")
    return tmp_path / "copy"


def strict(content: bytes) -> Any:
    """By RFC 8259: UTF-8 without a byte order mark (8.1), names in an object unique (4), no NaN and no Infinity (6)."""

    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        assert len({name for name, _ in pairs}) == len(pairs)
        return dict(pairs)

    def no_number(word: str) -> None:
        raise AssertionError(word)

    assert not content.startswith(b"\xef\xbb\xbf")
    return json.loads(content.decode("utf-8", "strict"), object_pairs_hook=unique, parse_constant=no_number)


def test_every_line_is_json_and_the_manifest_counts_and_hashes_them(copy: Path) -> None:
    manifest = strict((copy / "manifest.json").read_bytes())
    assert manifest["format"] == 1
    assert datetime.fromisoformat(manifest["made_at"]) == NOW
    assert manifest["migrations"] == ["0001_initial"]
    tables = {path.stem: path.read_bytes() for path in (copy / "rows").iterdir()}
    assert tables.keys() == manifest["tables"].keys() == records.rows().keys()
    for table, content in tables.items():
        assert content == b"" or content.endswith(b"\n")
        lines = [strict(line) for line in content.split(b"\n")[:-1]]
        assert all(isinstance(line, dict) for line in lines)
        told = manifest["tables"][table]
        assert (told["rows"], told["sha256"]) == (len(lines), hashlib.sha256(content).hexdigest())
    files = {name for name in records.files(copy) if not name.startswith(("rows/", "manifest"))}
    assert files == manifest["files"].keys()


def test_coreutils_agree_with_every_name_and_every_checksum(copy: Path) -> None:
    manifest = json.loads((copy / "manifest.json").read_bytes())
    sums = [f"{told['sha256']}  {name}" for name, told in manifest["files"].items()]
    sums += [f"{told['sha256']}  rows/{table}.jsonl" for table, told in manifest["tables"].items()]
    sums += [f"{path.name}  {path.relative_to(copy)}" for path in copy.glob("photos/*/*/*")]
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "--quiet"], input="\n".join(sums) + "\n", cwd=copy, text=True, check=False
    )
    assert done.returncode == 0
    originals, renditions = Photo.objects.values("original_sha256"), Rendition.objects.values("sha256")
    count = originals.distinct().order_by().count() + renditions.distinct().order_by().count()
    assert len(list(copy.glob("photos/*/*/*"))) == count


def test_values_stand_there_whole(copy: Path) -> None:
    lines = (copy / "rows" / "workshop_entry.jsonl").read_bytes().split(b"\n")[:-1]
    said = {line["id"]: line for line in map(strict, lines)}
    for entry in Entry.objects.all():
        assert said[str(entry.pk)]["sentence"] == entry.sentence
        assert datetime.fromisoformat(said[str(entry.pk)]["at"]) == entry.at
        assert said[str(entry.pk)]["stage_id"] == entry.stage_id
        assert said[str(entry.pk)]["for_client"] is entry.for_client
        assert said[str(entry.pk)]["taken_back_at"] is None
    assert {line["at"] for line in said.values()} >= {records.FIRST.isoformat()}
    assert records.FIRST.microsecond == 123457
    people = (copy / "rows" / "workshop_person.jsonl").read_bytes().split(b"\n")[:-1]
    assert [line["hours"] for line in map(strict, people)] == list(
        Person.objects.order_by("pk").values_list("hours", flat=True)
    )


def test_only_its_owner_can_read_it(copy: Path) -> None:
    assert copy.stat().st_mode & 0o777 == 0o700
    for path in copy.rglob("*"):
        assert path.stat().st_mode & 0o777 == (0o700 if path.is_dir() else 0o600), path
    records.lose()
    records.restore(copy)
    restored = [*Path(settings.MEDIA_ROOT).glob("*/*/*"), *Path(settings.OUTBOX).iterdir()]
    assert len(restored) > 5
    for path in restored:
        assert path.stat().st_mode & 0o777 == 0o600, path


def test_copies_share_nothing_with_what_they_are_copied_from(copy: Path) -> None:
    """A link would be spoilt with its original."""
    for path in copy.rglob("*"):
        assert path.is_dir() or (path.stat().st_nlink == 1 and not path.is_symlink()), path


def test_what_is_kept_points_at_nothing_that_is_left_out() -> None:
    kept = set(rows.kept_models())
    every = set(apps.get_models(include_auto_created=True))
    assert {model._meta.app_label for model in every - kept} == {"sessions", "contenttypes", "auth", "admin"}
    assert kept == {model for model in every if model._meta.app_label == "workshop"}
    for model in kept:
        for field in model._meta.get_fields():
            if isinstance(field, ForeignObject):
                assert field.related_model in kept, field


def test_a_table_told_from_the_database_is_the_table_in_the_file(copy: Path) -> None:
    manifest = json.loads((copy / "manifest.json").read_bytes())
    assert {model._meta.db_table: vars(rows.tell(model, "default")) for model in rows.kept_models()} == manifest[
        "tables"
    ]
