"""Writes history: who did what, when, to which row. Whatever the plan is made from draws it anew by being noted here."""

from datetime import datetime

from django.db.models import Model

from studio.workshop import errands
from studio.workshop.models import (
    Absence,
    Closure,
    History,
    Job,
    Kind,
    Overtime,
    Person,
    Piece,
    Place,
    Stage,
    StageKind,
    Studio,
)

# What is said to a client about a stage is no fact of the plan. (And a letter's rows are locked before these are noted: to
# wait for the plan's errand then could be a circle.)
_WORDS = {"sent word", "said nothing", "took back letter", "saw taken back"}
# Nor is by which way somebody comes in.
_WAYS_IN = {
    "invited",
    "sent invitation",
    "took back invitation",
    "accepted invitation",
    "set password",
    "ended sessions",
    "let look at the record",
}
_PLANNED = (Absence, Closure, Job, Overtime, Person, Piece, Place, Stage, StageKind, Studio)


def note(verb: str, subject: Model, *, by: Person | None, now: datetime, job: Job | None = None) -> None:
    """Adds one line. ``verb`` is what was done, in words: "logged done", "released photo"."""
    History.objects.create(at=now, by=by, verb=verb, job=job, subject=f"{subject._meta.verbose_name} {subject.pk}")
    if isinstance(subject, _PLANNED) and verb not in _WORDS | _WAYS_IN:
        errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now, now=now)
