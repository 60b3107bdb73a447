"""What a contact wishes to be told."""

from datetime import datetime

from django.db import transaction

from studio.workshop.actions.history import note
from studio.workshop.actions.notices import withdraw_notices
from studio.workshop.models import Link


@transaction.atomic
def stop_letters(link: Link, *, now: datetime) -> None:
    """No more letters about this job to this contact; those that have not left stay here. Their page stays open."""
    if Link.objects.filter(pk=link.pk, letters_stopped_at=None).update(letters_stopped_at=now):
        withdraw_notices(link.job.notices.filter(contact=link.contact), now=now)
        note("stopped letters", link, by=None, now=now, job=link.job)


@transaction.atomic
def start_letters(link: Link, *, now: datetime) -> None:
    """The contact has changed their mind. Nothing that they missed is sent late."""
    if Link.objects.filter(pk=link.pk, letters_stopped_at__isnull=False).update(letters_stopped_at=None):
        note("wished for letters", link, by=None, now=now, job=link.job)
