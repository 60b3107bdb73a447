"""What a back-up says of itself, and whether that is true."""

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from studio.workshop.backup import disk, rows

FORMAT = 1
NAME = "manifest.json"
# Nothing in a manifest may lead out of its folder, or to a place of its own choosing in ours.
FILE = re.compile(
    r"photos/(?:originals|renditions)/([0-9a-f]{2})/\1[0-9a-f]{62}"
    r"|letters/[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\.eml"
    r"|keys/(?:link|secret)\.key"
)


class BadBackup(Exception):
    """A back-up cannot be made here, or this one cannot be restored; the message says why, and what to do."""


@dataclass(frozen=True)
class Manifest:
    """``files`` by their place in the folder; ``missing``: photos that rows name, and keys, that were not there, or damaged.

    ``from_environment``: the keys that are not in the back-up, by their variables. ``link_keys``: marks by which to tell whether a key is one
    that clients' links were signed with, the present one first.
    """

    made_at: datetime
    studio: str
    migrations: list[str]
    tables: Mapping[str, rows.Table]
    files: Mapping[str, disk.Told]
    missing: list[str]
    letters_without_copy: int
    from_environment: list[str]
    link_keys: list[str]

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables.values())

    @property
    def bytes(self) -> int:
        return sum(file.bytes for file in self.files.values())

    def files_in(self, folder: str) -> list[str]:
        return [name for name in self.files if name.startswith(f"{folder}/")]


def table_place(table: str) -> str:
    return f"rows/{table}.jsonl"


def known_migrations() -> list[str]:
    """Those of this version."""
    return sorted(name for app, name in MigrationLoader(None).disk_migrations if app == "workshop")


def applied_migrations(alias: str) -> list[str]:
    """Those of the tables behind a connection."""
    applied = MigrationRecorder(connections[alias]).applied_migrations()
    return sorted(name for app, name in applied if app == "workshop")


def write(manifest: Manifest, folder: Path) -> None:
    """Whole or not at all: from now on the folder is a back-up."""
    told: dict[str, Any] = {"format": FORMAT, **asdict(manifest), "made_at": manifest.made_at.isoformat()}
    told["check"] = _check(told)
    disk.replace(folder / NAME, [json.dumps(told, indent=1, ensure_ascii=False).encode() + b"\n"])


def _check(told: dict[str, Any]) -> str:
    rest = {key: value for key, value in told.items() if key != "check"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True).encode()).hexdigest()


def read(folder: Path) -> Manifest:
    """Raises BadBackup for what is no back-up, or not one for this version."""
    try:
        told = json.loads((folder / NAME).read_bytes())
        form, good = told["format"], told["check"] == _check(told)
    except FileNotFoundError:
        raise BadBackup(f"There is no finished back-up in {folder}: {NAME} is missing. Choose another.") from None
    except OSError as error:
        raise BadBackup(disk.sentence(error, folder)) from None
    except (ValueError, TypeError, KeyError):
        raise _damaged(folder, [NAME]) from None
    if form != FORMAT:
        raise BadBackup(f"This back-up has format {form}, and this version reads format {FORMAT}. {_OTHER_VERSION}")
    if not good or not all(FILE.fullmatch(name) for name in told["files"]):
        raise _damaged(folder, [NAME])
    if told["migrations"] != known_migrations() or set(told["tables"]) != {
        model._meta.db_table for model in rows.kept_models()
    }:
        raise BadBackup(f"This back-up is from another version ({', '.join(told['migrations'])}). {_OTHER_VERSION}")
    return Manifest(
        made_at=datetime.fromisoformat(told["made_at"]),
        studio=told["studio"],
        migrations=told["migrations"],
        tables={name: rows.Table(**table) for name, table in told["tables"].items()},
        files={name: disk.Told(**file) for name, file in told["files"].items()},
        missing=told["missing"],
        letters_without_copy=told["letters_without_copy"],
        from_environment=told["from_environment"],
        link_keys=told["link_keys"],
    )


_OTHER_VERSION = "Restore it with the version that made it, and bring that up to date afterwards. Nothing was changed."


def verify(folder: Path) -> Manifest:
    """Reads all of a back-up, every row and every byte. Raises BadBackup."""
    manifest = read(folder)
    if names := damaged(folder, manifest):
        raise _damaged(folder, names)
    return manifest


def damaged(folder: Path, manifest: Manifest) -> list[str]:
    """The files that are not as the manifest tells. Raises BadBackup for rows that this version does not know."""
    return [*_damaged_tables(folder, manifest), *_damaged_files(folder, manifest)]


def _damaged_tables(folder: Path, manifest: Manifest) -> Iterator[str]:
    for model in rows.kept_models():
        name, told = table_place(model._meta.db_table), manifest.tables[model._meta.db_table]
        try:
            as_written = disk.look(folder / name).sha256 == told.sha256
            if not as_written or sum(1 for _ in rows.read(model, folder / name)) != told.rows:
                yield name
        except OSError:
            yield name
        except rows.BadRow as problem:
            raise BadBackup(f"In {name} {problem}. {_OTHER_VERSION}") from problem


def _damaged_files(folder: Path, manifest: Manifest) -> Iterator[str]:
    for name, told in manifest.files.items():
        try:
            if disk.look(folder / name) != told:
                yield name
        except OSError:
            yield name


def _damaged(folder: Path, names: list[str]) -> BadBackup:
    return BadBackup(
        f"The back-up in {folder} is damaged: {and_more(names)} is missing or not as it was written. "
        "Nothing was changed. Choose another."
    )


def and_more(names: list[str]) -> str:
    return f"{names[0]} (and {len(names) - 1} more)" if names[1:] else names[0]
