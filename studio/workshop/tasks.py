"""Celery's tasks: nudges. Each may arrive twice, late or never; the errand row decides."""

from uuid import UUID

from django.utils import timezone

from studio import logs
from studio.celery import app
from studio.workshop import duties, errands
from studio.workshop.models import Kind


@app.task(name="studio.run_errand")
def run_errand(errand_id: str) -> None:
    with logs.about_errand(errand_id):
        duties.run(UUID(errand_id), timezone.now)


@app.task(name="studio.sweep")
def sweep() -> None:
    now = timezone.now()
    errands.ask_daily(Kind.TIDY_FILES, now)
    duties.ask_for_todays_plan(now)
    errands.sweep(now)
