"""Whether the worker of a queue takes its errands, for whoever starts workers by other means than `up`: `manage.py hears photos`."""

import argparse
from typing import Any

from django.core.management import BaseCommand, CommandError
from django.db import Error
from django.utils import timezone

from studio.workshop import errands
from studio.workshop.errands.terms import TERMS


class Command(BaseCommand):
    help = "Exit code 1 where an errand of the queue has been due for a minute and none was taken in that time."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("queue", choices=sorted({terms.queue for terms in TERMS.values()}))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if errands.deaf(timezone.now(), options["queue"]):
                raise CommandError(f"Errands of {options['queue']} have been due for a minute and none was taken.")
        except Error as error:
            raise CommandError(f"The database cannot be used. {error}".strip()) from None
