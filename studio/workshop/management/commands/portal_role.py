"""On PostgreSQL, makes the role that clients' pages read as: it may SELECT what those pages show, and nothing else."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import connection, transaction
from django.db.models import Model

from studio.workshop import models

READS: dict[type[Model], tuple[str, ...]] = {
    models.Client: (),
    models.Confirmation: (),
    models.Contact: (),
    models.Entry: (),
    models.Job: (),
    models.Link: (),
    models.Person: ("id", "name", "email", "role", "is_active"),  # never a password
    models.Photo: (),
    models.Piece: (),
    models.Rendition: (),
    models.Stage: (),
    models.StageKind: (),
    models.Studio: (),
}


class Command(BaseCommand):
    help = "PostgreSQL: makes or mends the read-only role of the clients' pages. Run it after each migrate."

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        if connection.vendor != "postgresql":
            self.stdout.write("Not needed: on SQLite the connection itself cannot write.")
            return
        role = connection.ops.quote_name(settings.PORTAL_ROLE)
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtext('portal_role'))")
            cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [settings.PORTAL_ROLE])
            if not cursor.fetchone():
                cursor.execute(f"CREATE ROLE {role} NOLOGIN")
                cursor.execute(f"GRANT {role} TO CURRENT_USER")
            cursor.execute(f"GRANT USAGE ON SCHEMA public TO {role}")
            cursor.execute(f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {role}")
            for model, columns in READS.items():
                only = f"({', '.join(map(connection.ops.quote_name, columns))})" if columns else ""
                table = connection.ops.quote_name(model._meta.db_table)
                cursor.execute(f"GRANT SELECT {only} ON {table} TO {role}")
