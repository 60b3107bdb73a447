"""Makes a record from a back-up: first the files, then the rows, all in one transaction that is the last step."""

from dataclasses import dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile
from uuid import UUID

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections, transaction

from studio.workshop import outbox, storage
from studio.workshop.backup import disk, keys, manifest, rows
from studio.workshop.backup.manifest import BadBackup, Manifest
from studio.workshop.models import Errand, ErrandState, Kind, Notice, NoticeState, Person

# What may be done twice. All else writes to somebody.
HARMLESS = (Kind.DEVELOP_PHOTO, Kind.REFRESH_PLAN, Kind.TIDY_FILES)
PERHAPS_SENT = "It waited when the back-up was made, and may have left since."


@dataclass(frozen=True)
class Restored:
    """``held``: letters that wait for somebody to say whether they left. ``links_open``: what clients have still opens."""

    held: int
    links_open: bool


def refuse_used_record(alias: str = DEFAULT_DB_ALIAS) -> None:
    """Raises BadBackup where somebody works in this record already."""
    if rows.in_use(alias):
        also = "" if connections[alias].vendor == "sqlite" else " and an empty database with STUDIO_DATABASE_URL"
        raise BadBackup(f"This record is in use already. Choose an empty folder with STUDIO_DATA{also}.")


def restore(folder: Path, told: Manifest, alias: str = DEFAULT_DB_ALIAS) -> Restored:
    """Call it with a verified back-up, on migrated tables. Raises BadBackup; until its last step the record stays empty."""
    try:
        for name in told.files:
            _place(folder, name)
        with transaction.atomic(using=alias):
            refuse_used_record(alias)
            _load(folder, told, alias)
            held = _hold_letters(told, alias)
            # A link to choose a password that was used since would open once more.
            Person._base_manager.using(alias).update(invited_at=None)
        return Restored(held, links_open=set(told.link_keys) <= set(keys.link_marks()))
    except OSError as error:
        raise BadBackup(f"{disk.sentence(error, Path(settings.DATA))} Then restore again.") from None
    except (disk.Unreadable, rows.BadRow) as problem:
        raise BadBackup(f"The back-up in {folder} changed while it was read ({problem}). Restore again.") from None


def _place(folder: Path, name: str) -> None:
    """Puts one file where it stood, by the rules of whoever keeps such files."""
    path = folder / name
    if name.startswith(f"photos/{storage.ORIGINALS}/"):
        with NamedTemporaryFile(dir=settings.FILE_UPLOAD_TEMP_DIR, prefix="restored-") as draft:
            draft.writelines(disk.chunks(path))
            draft.flush()
            storage.keep_original(Path(draft.name))
    elif name.startswith(f"photos/{storage.RENDITIONS}/"):
        storage.keep_rendition(path.read_bytes())
    elif name.startswith("letters/"):
        disk.replace(outbox.path(UUID(path.stem)), disk.chunks(path))
    else:
        disk.replace(keys.place(path.name), disk.chunks(path))


def _load(folder: Path, told: Manifest, alias: str) -> None:
    """In place of what a first start has set out."""
    models = rows.kept_models()
    for model in models:
        rows.empty(model, alias)
    for model in models:
        table = model._meta.db_table
        rows.load(model, rows.read(model, folder / manifest.table_place(table)), alias)
        rows.count_from(model, told.tables[table].last_id, alias)


def _hold_letters(told: Manifest, alias: str) -> int:
    """Nothing leaves by itself that may have left since the back-up. Returns how many letters are held."""
    begun = [ErrandState.RUNNING, ErrandState.HANDING]
    errands = Errand._base_manager.using(alias)
    errands.filter(kind__in=HARMLESS, state__in=begun).update(
        state=ErrandState.WAITING, lease_until=None, nudged_at=None
    )
    held = (
        errands.exclude(kind__in=HARMLESS)
        .filter(state__in=[ErrandState.WAITING, ErrandState.FAILED, *begun])
        .update(state=ErrandState.UNKNOWN, error=PERHAPS_SENT, claimed_at=None, lease_until=None, nudged_at=None)
    )
    return held + _hold_what_would_follow(told, alias)


def _hold_what_would_follow(told: Manifest, alias: str) -> int:
    """Who was owed word may have had it since: a photo yet to be developed would let the letter go with nobody looking, and a
    lead who lets it go would not know that they did so before."""
    owed = Notice._base_manager.using(alias).filter(state=NoticeState.OWED, entry__taken_back_at=None)
    letters = [
        Errand(
            kind=Kind.SEND_LETTER,
            key=f"{Kind.SEND_LETTER}:{notice.pk}",
            subject=str(notice.pk),
            state=ErrandState.UNKNOWN,
            error=PERHAPS_SENT,
            asked_at=told.made_at,
            due_at=told.made_at,
        )
        for notice in owed
    ]
    Errand._base_manager.using(alias).bulk_create(letters, ignore_conflicts=True)
    owed.update(state=NoticeState.GOING, leaves_at=told.made_at)
    return len(letters)
