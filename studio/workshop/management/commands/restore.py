"""Makes the record anew from a back-up, in an empty data folder: `python3 manage.py restore DIR`."""

import argparse
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, call_command
from django.db import Error, connection
from django.utils import timezone

from studio.running import place
from studio.running.supervisor import GiveUp
from studio.workshop import backup
from studio.workshop.management.commands.backup import said


class Command(BaseCommand):
    help = "Restores a back-up into an empty record. Letters that may have left since are held for somebody to look at."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("dir", metavar="DIR", type=Path, help="a folder that `backup` made")

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        try:
            with place.lock(settings.DATA, chosen_by="STUDIO_DATA"):
                backup.refuse_used_record()
                told = backup.verify(options["dir"].absolute())
                call_command("migrate", verbosity=0, interactive=False)
                if connection.vendor == "postgresql":
                    call_command("portal_role")
                restored = backup.restore(options["dir"].absolute(), told)
        except KeyboardInterrupt:
            raise CommandError("Stopped half-way. Restore again.") from None
        except (GiveUp, backup.BadBackup) as problem:
            raise CommandError(str(problem)) from None
        except Error as error:
            raise CommandError(f"The database cannot be used. {error}".strip()) from None
        as_of = timezone.localtime(told.made_at).strftime("%a %-d %b %Y, %H:%M")
        self.stdout.write(f"Restored {told.studio} as of {as_of}: {said(told)}, in {time.monotonic() - began:.0f} s.")
        if restored.held:
            self.stdout.write(
                f"Letters held, because they may have left since: {restored.held}. The office shows them."
            )
        if not restored.links_open:
            self.stdout.write(
                "Links that clients have will not all open: STUDIO_LINK_KEY or STUDIO_LINK_KEY_FALLBACKS is not what it was."
            )
        if told.missing:
            self.stdout.write(f"Files that were missing or damaged already when it was backed up: {len(told.missing)}.")
        self.stdout.write("Everybody signs in again. Start the studio with: python3 manage.py up")
