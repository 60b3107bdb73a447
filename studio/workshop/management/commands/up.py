"""Runs the studio in the foreground: `python3 manage.py up`."""

import argparse
import os
import secrets
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.core.management import BaseCommand, call_command
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from studio import env
from studio.celery import app
from studio.front.signin import openers
from studio.running import run
from studio.running.supervisor import GiveUp
from studio.workshop import actions, errands
from studio.workshop.management.troubles import TROUBLES, in_words
from studio.workshop.models import Person, Role

T = TypeVar("T")


class Command(BaseCommand):
    help = "Runs the studio: broker, worker, beat and web, until Ctrl-C."
    requires_system_checks = ()  # `manage.py check` is for who builds; a start should be quick

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--port", type=_port, default=8000, help="where the web answers; 0 takes a free one")
        parser.add_argument("--host", default="127.0.0.1", help="0.0.0.0 opens it to the workshop's network")
        parser.add_argument("--data", metavar="DIR", help="the data folder; .studio beside manage.py by default")
        parser.add_argument("--ready-file", metavar="FILE", type=Path, help="gets the addresses as JSON once it runs")
        parser.add_argument("--broker", choices=("auto", "redis", "folder"), default="auto")

    def handle(self, *args: Any, **options: Any) -> None:
        env.check_proxy(settings.SECURE, settings.PROXY)
        # A new word each run, which the web inherits: the links that open straight in end with the run.
        os.environ["STUDIO_OPENER_NONCE"] = secrets.token_urlsafe(16)
        wishes = run.Wishes(
            data=settings.DATA,
            host=options["host"],
            port=options["port"],
            ready_file=options["ready_file"] and options["ready_file"].absolute(),
            broker=options["broker"],
            given_broker=os.environ.get("STUDIO_BROKER_URL", "").strip(),
            given_address=os.environ.get("STUDIO_ADDRESS", "").strip(),
        )
        record = run.Record(
            prepare=_prepare,
            tell=_tell,
            openers=lambda url: _briefly(lambda: openers(url)),
            free_dead=lambda: _briefly(lambda: errands.free_dead(timezone.now())),
            deaf=lambda: _briefly(lambda: errands.deaf(timezone.now())),
            overdue=lambda: _briefly(lambda: errands.overdue_pids(timezone.now())),
        )
        try:
            run.run(wishes, record, self._say)
        except GiveUp as problem:
            sys.exit(str(problem))  # a CommandError would be printed with that word before the sentence
        except TROUBLES as error:
            sys.exit(in_words(error))

    def _say(self, line: str) -> None:
        """At once, also into a file or a pipe: somebody waits for the address."""
        self.stdout.write(line)
        self.stdout.flush()


def _port(word: str) -> int:
    if not word.isdecimal() or int(word) > 65535:
        raise argparse.ArgumentTypeError(f"{word} is no port. Write a number from 1 to 65535.")
    return int(word)


def _briefly(question: Callable[[], T]) -> T:
    """Asks the record without keeping a connection open until the next time."""
    try:
        return question()
    finally:
        connections.close_all()


def _tell(broker_url: str, address: str) -> None:
    app.conf.update(broker_url=broker_url)
    settings.ADDRESS = address


def _prepare(open_to_network: bool) -> None:
    """The record as this run needs it. Raises GiveUp where it may not be opened to the network."""
    plan = MigrationExecutor(connection)
    if newer := sorted(set(plan.loader.applied_migrations) - set(plan.loader.disk_migrations or ())):
        other = "database with STUDIO_DATABASE_URL" if connection.vendor == "postgresql" else "folder with --data"
        raise GiveUp(
            f"A newer version of the studio was at work here ({newer[-1][1]} is not known to this one). "
            f"Start that version, or choose another {other}."
        )
    if plan.migration_plan(plan.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)
    if connection.vendor == "postgresql":
        call_command("portal_role")
    actions.set_out_studio()
    if open_to_network and not _lead_has_password():
        raise GiveUp(
            "Before the studio is opened to a network, a lead needs a password. Run python3 manage.py invite with the "
            "lead's e-mail address, start the studio without --host, and open the link that was printed."
        )
    if not Person.objects.exists():
        _load_demo()
    errands.sweep(timezone.now())
    connections.close_all()


def _load_demo() -> None:
    """In a process of its own, whose memory goes with it. It ends with this one, and leaves nothing then."""
    connections.close_all()
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo", "--with-parent"]
    told = {
        "STUDIO_DATA": str(settings.DATA),
        "STUDIO_BROKER_URL": str(app.conf.broker_url),
        "STUDIO_ADDRESS": settings.ADDRESS,
    }
    with subprocess.Popen(
        command,
        env={**os.environ, **told},
        stdin=subprocess.PIPE,  # closed when this process ends, however it ends
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,  # Ctrl-C is for this one
    ) as child:
        *lines, last = (child.stderr.read() if child.stderr else "").splitlines() or [""]
    print(*lines, sep="\n", end="", file=sys.stderr)
    if child.returncode:
        raise GiveUp(last or "The demo could not be loaded. Start again.")


def _lead_has_password() -> bool:
    return any(lead.has_usable_password() for lead in Person.objects.filter(role=Role.LEAD, is_active=True))
