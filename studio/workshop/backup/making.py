"""Makes a back-up while the studio is in use: rows as of one instant, then the files that these rows name."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.models import Model

from studio.workshop import outbox, storage
from studio.workshop.backup import disk, keys, manifest, rows
from studio.workshop.backup.manifest import BadBackup, Manifest
from studio.workshop.models import Letter, Photo, Rendition, Studio


def back_up(folder: Path, now: datetime) -> Manifest:
    """Fills an empty folder, reads all of it back and compares. Raises BadBackup; what was written then has no manifest."""
    try:
        _check_record()
        _check_place(folder)
        made = _write(folder, now)
        disk.sync_folders(folder)
        storage.sync_folder(folder.parent)
        if damaged := manifest.damaged(folder, made):
            raise BadBackup(
                f"{manifest.and_more(damaged)} was read back from {folder} and is not what was written. "
                "What is there is no back-up. Choose another disk."
            )
        manifest.write(made, folder)
        return manifest.read(folder)
    except OSError as error:
        begun = f" What is in {folder} is no back-up: delete it." if folder.is_dir() else ""
        raise BadBackup(disk.sentence(error, folder) + begun) from None


def _check_record() -> None:
    """A connection that cannot write does not make a database either."""
    if settings.SQLITE and not Path(connections[DEFAULT_DB_ALIAS].settings_dict["NAME"]).exists():
        raise BadBackup(f"There is no record in {settings.DATA}. Name the folder that has it with STUDIO_DATA.")


def _check_place(folder: Path) -> None:
    if folder.resolve().is_relative_to(Path(settings.DATA).resolve()):
        raise BadBackup(
            f"{folder} is in the data folder, and would be lost with it. Choose another place, best on another disk."
        )
    if not folder.parent.is_dir():
        raise BadBackup(f"There is no folder {folder.parent}. Make it, or connect the disk that it is on.")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadBackup(f"{folder} is there already and not empty. Name a new folder, such as one with today's date.")


def _write(folder: Path, now: datetime) -> Manifest:
    with snapshot() as alias:
        migrations = _migrations(alias)
        disk.private_folder(folder)
        with suppress(PermissionError):  # of a disk that knows no owners
            folder.chmod(0o700)
        tables = {model._meta.db_table: _write_table(model, alias, folder) for model in rows.kept_models()}
        photos = _photos(alias)
        letters = list(Letter._base_manager.using(alias).values_list("pk", flat=True))
        studio = Studio._base_manager.using(alias).first()
    files = {name: told for name, path in sorted(photos.items()) if (told := _copy(path, folder / name, path.name))}
    missing = sorted(photos.keys() - files.keys())
    for name, path in sorted(_others().items()):
        if told := _copy(path, folder / name):
            files[name] = told
        elif name.startswith("keys/"):
            missing.append(name)
    return Manifest(
        made_at=now,
        studio=studio.name if studio else "",
        migrations=migrations,
        tables=tables,
        files=files,
        missing=missing,
        letters_without_copy=sum(f"letters/{outbox.path(letter).name}" not in files for letter in letters),
        from_environment=keys.from_environment(),
        link_keys=keys.link_marks(),
    )


@contextmanager
def snapshot() -> Iterator[str]:
    """The connection to read by: what it sees inside is of one instant, and nobody who writes waits for it.

    On SQLite the default connection would begin by locking out all writers, so that the clients' one is used; it reads
    from its first question on as of then. On PostgreSQL that one may not see everything.
    """
    alias = "portal" if settings.SQLITE else "default"
    with transaction.atomic(using=alias, durable=True):
        if not settings.SQLITE:
            with connections[alias].cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield alias


def _migrations(alias: str) -> list[str]:
    migrations = manifest.applied_migrations(alias)
    if migrations != manifest.known_migrations():
        raise BadBackup("The record is from another version than this program. Start it once with: manage.py up")
    return migrations


def _write_table(model: type[Model], alias: str, folder: Path) -> rows.Table:
    told = disk.write(folder / manifest.table_place(model._meta.db_table), rows.lines(model, alias))
    return rows.Table(rows.count(model, alias), told.sha256, rows.last_id(model, alias))


def _photos(alias: str) -> dict[str, Path]:
    """Those that the rows name, by their place in a back-up."""
    originals = Photo._base_manager.using(alias).values_list("original_sha256", flat=True)
    renditions = Rendition._base_manager.using(alias).values_list("sha256", flat=True)
    paths = {storage.original_path(name) for name in originals} | {storage.rendition_path(name) for name in renditions}
    return {f"photos/{path.relative_to(settings.MEDIA_ROOT).as_posix()}": path for path in paths}


def _others() -> dict[str, Path]:
    """The keys, and all letters, since one may have been written just before its row; a file of another name is none of ours."""
    letters = {f"letters/{path.name}": path for path in Path(settings.OUTBOX).glob("*.eml")}
    in_files = {f"keys/{name}": keys.place(name) for name in keys.in_files()}
    return {name: path for name, path in (letters | in_files).items() if manifest.FILE.fullmatch(name)}


def _copy(path: Path, place: Path, sha256: str = "") -> disk.Told | None:
    """None, and nothing left there, where the file cannot be read, or is not the one that has this SHA-256."""
    try:
        told = disk.write(place, disk.chunks(path))
    except disk.Unreadable:
        told = None
    if told and sha256 in {"", told.sha256}:
        return told
    place.unlink(missing_ok=True)
    return None
