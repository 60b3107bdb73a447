"""Copies rows, photos, letters and keys into a folder, while the studio is in use: `python3 manage.py backup DIR`."""

import argparse
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError
from django.db import Error
from django.template.defaultfilters import filesizeformat
from django.utils import timezone

from studio.workshop import backup


class Command(BaseCommand):
    help = "Makes a back-up in a new folder, reads it back and compares. The studio may go on meanwhile."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("dir", metavar="DIR", type=Path, help="a new or empty folder, best on another disk")

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        folder = options["dir"].absolute()
        try:
            made = backup.back_up(folder, timezone.now())
        except KeyboardInterrupt:
            raise CommandError(f"Stopped. What is in {folder} is no back-up: delete it.") from None
        except backup.BadBackup as problem:
            raise CommandError(str(problem)) from None
        except Error as error:
            raise CommandError(f"The database of {settings.DATA} cannot be used. {error}".strip()) from None
        self.stdout.write(
            f"Backed up {made.studio} to {folder}: {said(made)}, in {time.monotonic() - began:.0f} s. Verified."
        )
        if made.letters_without_copy:
            self.stdout.write(f"Letters whose copy was thrown away before: {made.letters_without_copy}.")
        if made.from_environment:
            names = ", ".join(made.from_environment)
            self.stdout.write(f"Not in it, because they come from the environment; keep them elsewhere: {names}.")
        if made.missing:
            files = "\n".join(f"  {name}" for name in made.missing)
            raise CommandError(f"All is in it but these, which are missing from the data folder or damaged:\n{files}")


def said(made: backup.Manifest) -> str:
    size = filesizeformat(made.bytes).replace("\N{NO-BREAK SPACE}", " ")
    photos, letters = len(made.files_in("photos/originals")), len(made.files_in("letters"))
    return f"{made.rows:,} rows, photos with their copies {photos:,}, letters {letters:,}, {size}"
