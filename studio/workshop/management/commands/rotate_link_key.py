"""Gives clients' links a new key: `python3 manage.py rotate_link_key`."""

import argparse
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from studio import env, keys

_KEPT = "New letters carry new addresses. Those that are out there go on opening, by {count}."
_CLOSED = (
    "Every address of a client that is out there, in letters too, stops opening for good, and so does every link to stop letters. "
    "Each client needs a new one: it stands on the page of their job."
)
_START_ANEW = "Stop the studio and start it again now: until then it uses the old key."
_GIVEN = (
    "The key comes from STUDIO_LINK_KEY, so it is changed there: write a new one of at least {shortest} characters into it, {earlier}, "
    "and start the studio anew."
)


class Command(BaseCommand):
    help = "Puts a new key first; the earlier ones still open what they signed, unless --close-old forgets them."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        close = "for a key that leaked: forgets the earlier keys, so that every address that is out there stops opening"
        parser.add_argument("--close-old", action="store_true", help=close)

    def handle(self, *args: Any, **options: Any) -> None:
        close = options["close_old"]
        if env.text("LINK_KEY"):
            earlier = "empty STUDIO_LINK_KEY_FALLBACKS" if close else "add the old one to STUDIO_LINK_KEY_FALLBACKS"
            raise CommandError(_GIVEN.format(shortest=keys.SHORTEST, earlier=earlier))
        if close and env.text("LINK_KEY_FALLBACKS"):
            raise CommandError("STUDIO_LINK_KEY_FALLBACKS names earlier keys, which would still open. Empty it first.")
        file = settings.LINK_KEY_FILE
        earlier_keys = [] if close else keys.every("LINK_KEY", file)
        keys.put(file, [keys.new(), *earlier_keys])
        count = f"{len(earlier_keys)} earlier {'key' if len(earlier_keys) == 1 else 'keys'}"
        self.stdout.write(_CLOSED if close else _KEPT.format(count=count))
        self.stdout.write(_START_ANEW)
