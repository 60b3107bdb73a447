"""Writes history: who did what, when, to which row."""

from datetime import datetime

from django.db.models import Model

from studio.workshop.models import History, Job, Person


def note(verb: str, subject: Model, *, by: Person | None, now: datetime, job: Job | None = None) -> None:
    """Adds one line. ``verb`` is what was done, in words: "logged done", "released photo"."""
    History.objects.create(at=now, by=by, verb=verb, job=job, subject=f"{subject._meta.verbose_name} {subject.pk}")
