"""What cannot be backed up or restored is refused by a sentence, and nothing is changed by the try."""

import errno
import hashlib
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError
from django.db import DatabaseError

from studio.running import place as running
from studio.workshop import actions, storage
from studio.workshop.backup import keys, restoring
from studio.workshop.models import Client, Person, Photo, Place, Rendition
from tests.workshop import records

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])
Spoil = Callable[[Path], None]


@pytest.fixture(autouse=True)
def _nobody_is_nudged(published: list[str]) -> None:
    """Nothing here has a broker."""


@pytest.fixture
def copy(tmp_path: Path) -> Iterator[Path]:
    """A good back-up of a record that is lost; the record that is there now was only just set out."""
    records.fill()
    records.back_up(tmp_path / "copy")
    records.lose()
    actions.set_out_studio()
    before = everything()
    yield tmp_path / "copy"
    assert everything() == before


def everything() -> tuple[Any, ...]:
    secrets = [(Path(settings.DATA) / name).read_bytes() for name in ("link.key", "secret.key")]
    return records.rows(), records.files(settings.MEDIA_ROOT), records.files(settings.OUTBOX), secrets


def refused(place: Path) -> str:
    with pytest.raises(CommandError) as problem:
        records.restore(place)
    sentence = str(problem.value)
    assert "\n" not in sentence
    return sentence


def first(place: Path, pattern: str) -> Path:
    return sorted(path for path in place.glob(pattern) if path.stat().st_size)[0]


@pytest.mark.parametrize(
    "pattern",
    ["rows/workshop_stage.jsonl", "photos/originals/*/*", "photos/renditions/*/*", "letters/*", "keys/link.key"],
)
def test_a_flipped_byte(copy: Path, pattern: str) -> None:
    path = first(copy, pattern)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    name = path.relative_to(copy).as_posix()
    assert refused(copy) == (
        f"The back-up in {copy} is damaged: {name} is missing or not as it was written. Nothing was changed. Choose another."
    )


def test_a_flipped_byte_anywhere_in_the_manifest(copy: Path) -> None:
    manifest = copy / "manifest.json"
    content = manifest.read_bytes()
    for place in range(0, len(content) - 1, len(content) // 40):
        if content[place : place + 1].isspace():
            continue
        manifest.write_bytes(content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :])
        assert "Nothing was changed." in refused(copy), content[place - 20 : place + 20]


def test_a_file_of_rows_that_is_cut_short_by_a_whole_row(copy: Path) -> None:
    path = copy / "rows" / "workshop_history.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    assert "rows/workshop_history.jsonl is missing or not as it was written" in refused(copy)


def test_a_file_that_is_gone(copy: Path) -> None:
    (copy / "rows" / "workshop_job.jsonl").unlink()
    first(copy, "letters/*").unlink()
    assert "rows/workshop_job.jsonl (and 1 more) is missing" in refused(copy)


def test_without_a_manifest_it_is_no_back_up(copy: Path) -> None:
    (copy / "manifest.json").unlink()
    assert refused(copy) == f"There is no finished back-up in {copy}: manifest.json is missing. Choose another."
    assert "There is no finished back-up" in refused(copy / "nowhere")


def forge(copy: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """A manifest that says something else, and is true to itself."""
    told = json.loads((copy / "manifest.json").read_bytes())
    change(told)
    del told["check"]
    told["check"] = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
    (copy / "manifest.json").write_text(json.dumps(told))


def test_another_format_and_other_migrations(copy: Path) -> None:
    forge(copy, lambda told: told.update(format=2))
    assert refused(copy).startswith("This back-up has format 2, and this version reads format 1. ")
    forge(copy, lambda told: told.update(format=1, migrations=["0001_initial", "0002_later"]))
    assert refused(copy).startswith("This back-up is from another version (0001_initial, 0002_later). ")
    forge(copy, lambda told: told.update(migrations=["0001_initial"], tables={}))
    assert refused(copy).startswith("This back-up is from another version (0001_initial). ")


def test_rows_with_fields_that_this_version_does_not_know(copy: Path) -> None:
    path = copy / "rows" / "workshop_studio.jsonl"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"colour": "teal"}) + "\n")
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    forge(copy, lambda told: told["tables"]["workshop_studio"].update(sha256=sha256))
    assert refused(copy).startswith("In rows/workshop_studio.jsonl row 1 has other fields than this version knows. ")


def test_a_manifest_cannot_lead_out_of_its_folder(copy: Path) -> None:
    for name in ("../outside.eml", "letters/../../outside.eml", "keys/up.lock", "/etc/hostname"):
        told = {"sha256": "0" * 64, "bytes": 1}
        forge(copy, lambda manifest, name=name, told=told: manifest["files"].update({name: told}))  # type: ignore[misc]
        assert "manifest.json is missing or not as it was written" in refused(copy)
        forge(copy, lambda manifest, name=name: manifest["files"].pop(name))  # type: ignore[misc]


def test_a_record_with_somebody_in_it(copy: Path) -> None:
    for somebody in (
        Person.objects.create(name="Ines", email="ines@bodkinyard.example"),
        Client.objects.create(name="A"),
    ):
        assert refused(copy).startswith("This record is in use already. Choose an empty folder with STUDIO_DATA")
        somebody.delete()


def test_while_the_studio_runs(copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "LOCK_WAIT_S", 0)
    with running.lock(settings.DATA):
        assert refused(copy) == (
            f"The studio runs already on {settings.DATA}. Stop it where it runs (Ctrl-C), "
            "or choose another folder with STUDIO_DATA."
        )


def test_what_fails_at_the_last_step_leaves_the_record_empty_and_can_be_done_again(
    copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = records.rows()

    def fail(*anything: object) -> int:
        raise DatabaseError("The server went away.")

    with monkeypatch.context() as broken:
        broken.setattr(restoring, "_hold_letters", fail)
        assert refused(copy) == "The database cannot be used. The server went away."
    assert records.rows() == before
    records.restore(copy)
    assert Photo.objects.exists()
    records.lose()
    actions.set_out_studio()


def no_back_up(place: Path) -> str:
    with pytest.raises(CommandError) as problem:
        records.back_up(place)
    assert not (place / "manifest.json").exists()
    return str(problem.value)


def test_where_no_back_up_can_be_made(tmp_path: Path) -> None:
    records.fill()
    inside = Path(settings.DATA) / "copy"
    assert no_back_up(inside).startswith(f"{inside} is in the data folder")
    assert no_back_up(inside.parent / "media" / ".." / "copy").endswith("best on another disk.")
    (tmp_path / "link").symlink_to(settings.DATA)
    assert "is in the data folder" in no_back_up(tmp_path / "link" / "copy")
    assert not inside.exists()
    assert no_back_up(tmp_path / "no disk" / "copy").startswith(f"There is no folder {tmp_path / 'no disk'}.")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "note").touch()
    assert no_back_up(tmp_path / "full").startswith(f"{tmp_path / 'full'} is there already and not empty.")
    assert no_back_up(tmp_path / "full" / "note").startswith(f"{tmp_path / 'full' / 'note'} is there already")
    (tmp_path / "empty").mkdir()
    records.back_up(tmp_path / "empty")


@pytest.mark.parametrize("after", [0, 1, 30, 40])
def test_a_disk_that_fills_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    records.fill()
    sync, calls = os.fsync, iter(range(1000))

    def full(handle: int) -> None:
        if next(calls) >= after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(handle)

    copy = tmp_path / "copy"
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", full)
        sentence = no_back_up(copy)
    assert sentence == (
        f"The disk of {copy} is full. Make room, or choose another. What is in {copy} is no back-up: delete it."
    )
    records.lose()
    assert refused(copy).startswith(f"There is no finished back-up in {copy}")


def test_a_place_where_nobody_may_write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    records.fill()
    copy = tmp_path / "copy"

    def forbid(folder: Path, mode: int = 0o777) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(folder))

    with monkeypatch.context() as broken:
        broken.setattr(Path, "mkdir", forbid)
        sentence = no_back_up(copy)
    assert sentence == f"{copy} cannot be read or written (Permission denied). Put that right, or choose another."


def test_the_names_of_files_and_of_the_folder_itself_are_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    records.fill()
    synced: set[Path] = set()
    monkeypatch.setattr(storage, "sync_folder", synced.add)
    records.back_up(tmp_path / "copy")
    folders = {path for path in (tmp_path / "copy").rglob("*") if path.is_dir()}
    assert synced >= folders | {tmp_path / "copy", tmp_path}


@pytest.mark.parametrize("after", [0, 3, 6])
def test_a_disk_that_is_full_when_a_back_up_is_restored(
    copy: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    before, sync, calls = records.rows(), os.fsync, iter(range(1000))

    def full(handle: int) -> None:
        if next(calls) >= after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(handle)

    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", full)
        assert refused(copy) == (
            f"The disk of {settings.DATA} is full. Make room, or choose another. Then restore again."
        )
    assert records.rows() == before
    records.restore(copy)
    assert Photo.objects.exists()
    records.lose()
    actions.set_out_studio()


def test_a_disk_that_does_not_keep_what_it_was_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    records.fill()
    sync = os.fsync

    def forget(handle: int) -> None:
        sync(handle)
        path = Path(f"/proc/self/fd/{handle}").readlink()
        if path.parent.name == "letters":
            os.truncate(path, 100)

    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", forget)
        sentence = no_back_up(tmp_path / "copy")
    assert " was read back from " in sentence
    assert sentence.startswith("letters/")


def test_photos_that_are_missing_or_damaged_are_named_and_the_rest_is_backed_up(tmp_path: Path) -> None:
    records.fill()
    gone, spoilt, whole = list(Rendition.objects.order_by("pk").values_list("sha256", flat=True).distinct())[:3]
    storage.rendition_path(gone).unlink()
    storage.rendition_path(spoilt).write_bytes(b"not what it was")
    with pytest.raises(CommandError) as problem:
        records.back_up(tmp_path / "copy")
    first, *named = str(problem.value).splitlines()
    assert first == "All is in it but these, which are missing from the data folder or damaged:"
    assert named == sorted(f"  photos/renditions/{name[:2]}/{name}" for name in (gone, spoilt))
    records.lose()
    said = records.restore(tmp_path / "copy")
    assert "Files that were missing or damaged already when it was backed up: 2.\n" in said
    assert storage.rendition_path(whole).exists()
    assert not storage.rendition_path(spoilt).exists()
    assert Place.objects.exists()


def test_a_key_that_is_gone_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    records.fill()
    (tmp_path / "link.key").write_bytes((Path(settings.DATA) / "link.key").read_bytes())
    monkeypatch.setattr(keys, "place", lambda name: tmp_path / name)
    with pytest.raises(CommandError) as problem:
        records.back_up(tmp_path / "copy")
    assert str(problem.value).splitlines()[1:] == ["  keys/secret.key"]
    assert (tmp_path / "copy" / "keys" / "link.key").exists()
