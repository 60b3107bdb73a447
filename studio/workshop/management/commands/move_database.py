"""Moves a studio from its SQLite file into PostgreSQL: `STUDIO_DATABASE_URL=… python3 manage.py move_database`."""

import time
from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, call_command
from django.db import Error

from studio.running import place
from studio.running.supervisor import GiveUp
from studio.workshop.backup import moving


class Command(BaseCommand):
    help = "Moves all rows of the SQLite file in the data folder into the empty PostgreSQL of STUDIO_DATABASE_URL."
    requires_system_checks = ()

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        try:
            with place.lock(settings.DATA, chosen_by="STUDIO_DATA"):
                moving.refuse()
                call_command("migrate", verbosity=0, interactive=False)
                call_command("portal_role")
                sides = moving.move()
        except KeyboardInterrupt:
            raise CommandError("Stopped. Nothing was moved.") from None
        except moving.Differs as problem:
            self._table(problem.sides)
            raise CommandError(str(problem)) from None
        except (GiveUp, moving.CannotMove) as problem:
            raise CommandError(str(problem)) from None
        except Error as error:
            raise CommandError(f"Nothing was moved: a database cannot be used. {error}".strip()) from None
        self._table(sides)
        rows = sum(side.file.rows for side in sides)
        self.stdout.write(
            f"Moved {rows:,} rows of {len(sides)} tables in {time.monotonic() - began:.0f} s; read back, both sides are the same.\n"
            "Start the studio with the same STUDIO_DATABASE_URL from now on: python3 manage.py up\n"
            f"Photos, letters and keys stay in {settings.DATA}. {settings.SQLITE_FILE.name} there is as it was: keep it until you "
            "are sure. Without the variable the studio does not start any more, so that nobody goes on with the old file unawares."
        )

    def _table(self, sides: Iterable[moving.Sides]) -> None:
        """Count and SHA-256 of each table: in the file, and as read back. The same row has the same words in both."""
        self.stdout.write(f"{'table':<30} {'in the file':>26} {'in PostgreSQL':>26}")
        for side in sides:
            file, there = (f"{told.rows:>9,} {told.sha256[:16]}" for told in (side.file, side.there))
            self.stdout.write(f"{side.table:<30} {file:>26} {there:>26} {'same' if side.same else 'DIFFERENT'}")
