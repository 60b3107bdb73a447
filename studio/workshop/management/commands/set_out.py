"""Makes the studio's one row and the default kinds of stage where they are missing."""

from typing import Any

from django.core.management.base import BaseCommand

from studio.workshop.actions import set_out_studio


class Command(BaseCommand):
    help = "Sets out an empty studio; changes nothing that is there."

    def handle(self, *args: Any, **options: Any) -> None:
        set_out_studio()
