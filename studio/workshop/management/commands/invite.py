"""Makes a way in for somebody: `python3 manage.py invite ines@yard.example`."""

import argparse
import os
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError, call_command
from django.core.validators import validate_email
from django.db import Error, connection, transaction
from django.utils import timezone

from studio.workshop import actions, invitations
from studio.workshop.models import Person, Role

_PRINTED = """{person} comes in by this link and chooses a password there. It opens once, until {until}:

    {address}

Earlier links no longer open. The studio must be running: python3 manage.py up"""
_ELSEWHERE = "Where up prints another address, with another port for example, write that in place of {address}."


class Command(BaseCommand):
    help = "Prints a link by which somebody of the studio chooses a password; makes them where they are missing."
    requires_system_checks = ()

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("email", metavar="EMAIL", help="the address that they sign in with")
        parser.add_argument("--name", default="", help="of somebody new; without it, what stands before the @")
        parser.add_argument("--role", choices=Role.values, default="", help="of somebody new; lead unless given")
        parser.add_argument("--superuser", action="store_true", help="lets them look at the raw record too")

    def handle(self, *args: Any, **options: Any) -> None:
        email, now = options["email"].strip().lower(), timezone.now()
        try:
            validate_email(email)
        except ValidationError:
            raise CommandError("Write the whole address, such as name@yard.example.") from None
        try:
            person = self._invited(email, now, options)
        except actions.Refused as refusal:
            raise CommandError(str(refusal)) from None
        except Error as error:
            raise CommandError(f"The database cannot be used. {error}".strip()) from None
        until = timezone.localtime(now + invitations.OPENS_FOR)
        self.stdout.write(
            _PRINTED.format(person=person, until=f"{until:%a %-d %b %H:%M}", address=invitations.address_for(person))
        )
        if not os.environ.get("STUDIO_ADDRESS"):
            self.stdout.write(_ELSEWHERE.format(address=settings.ADDRESS))

    def _invited(self, email: str, now: datetime, options: dict[str, Any]) -> Person:
        if Person._meta.db_table not in connection.introspection.table_names():  # a folder that nothing ran on yet
            call_command("migrate", verbosity=0, interactive=False)
        with transaction.atomic():
            actions.set_out_studio()
            person = Person.objects.filter(email__iexact=email).first()
            if person and _differs(person, options):
                raise CommandError(f"{person} is there already. What they do and are called is changed under People.")
            if person is None:
                name = options["name"].strip() or email.partition("@")[0].capitalize()
                role = Role(options["role"] or Role.LEAD)
                person = actions.add_person(name=name[:60], email=email, role=role, password=None, by=None, now=now)
            if options["superuser"]:
                actions.let_look_at_record(person, by=None, now=now)
            return actions.invite(person, by=None, now=now)


def _differs(person: Person, options: dict[str, Any]) -> bool:
    name, role = options["name"].strip(), options["role"]
    return (name not in {"", person.name}) or (role not in {"", person.role})
