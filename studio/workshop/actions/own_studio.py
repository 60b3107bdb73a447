"""Leaving the demo: all that was invented goes, and the studio begins as somebody's own."""

import logging
from collections.abc import Collection, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path

from django.contrib.sessions.models import Session
from django.db import DEFAULT_DB_ALIAS, OperationalError, connection, transaction
from django.db.models import Model

from studio.workshop import outbox, storage
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.actions.people import add_person
from studio.workshop.actions.studio import NO_HOURS, no_zone, set_out_studio
from studio.workshop.backup import rows
from studio.workshop.models import Person, Role, Studio, Week

log = logging.getLogger(__name__)
NO_DEMO = (
    "Somebody has begun a studio of their own here, so the demo is gone and nothing of yours was done. Sign in anew."
)
BUSY = "Somebody was at work in the demo in that very moment, so nothing was changed. Press the button once more."


@transaction.atomic
def start_own_studio(
    *, name: str, time_zone: str, hours: Week, lead: str, email: str, password: str, now: datetime
) -> Person:
    """Only the demo is ever emptied. Its sessions, links and errands end with its rows; its files go once that is kept, and
    those that a crash leaves behind go with the daily tidying up. Returns the first lead."""
    if problem := no_zone(time_zone):
        raise Refused(problem)
    if not any(hours):
        raise Refused(NO_HOURS)
    emptied: list[type[Model]] = [*rows.kept_models(), Session]
    _keep_writers_out(emptied)
    if not Studio.objects.filter(demo=True).update(demo=False):
        raise Refused(NO_DEMO)
    # Listed while all of them are the demo's, so that nothing of the new studio's can be among them.
    files = [*storage.shelved(storage.ORIGINALS), *storage.shelved(storage.RENDITIONS), *outbox.files()]
    for model in emptied:
        rows.empty(model, DEFAULT_DB_ALIAS)
    set_out_studio()
    Studio.objects.update(name=name, time_zone=time_zone, hours=hours)
    person = add_person(name=lead, email=email, role=Role.LEAD, password=password, by=None, now=now)
    note("set out", Studio.objects.get(), by=person, now=now)
    transaction.on_commit(partial(_throw_away, files))
    return person


def _keep_writers_out(models: Collection[type[Model]]) -> None:
    """SQLite has one writer at a time anyway. On PostgreSQL, a row that is being written meanwhile would stay, or would keep
    what it points at."""
    if connection.vendor != "postgresql":
        return
    tables = ", ".join(connection.ops.quote_name(model._meta.db_table) for model in models)
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {tables} IN EXCLUSIVE MODE")
    except OperationalError as error:  # whoever waits for us while we wait for them: one of the two is turned away
        raise Refused(BUSY) from error


def _throw_away(files: Sequence[Path]) -> None:
    """What cannot be removed is in nobody's way, and named by no row: the tidying up tries again."""
    for path in files:
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            log.warning("A file of the demo stays for now: %s", error.strerror)
