"""Trying whether letters leave."""

from datetime import datetime

from django.db import transaction

from studio.workshop import errands
from studio.workshop.actions.errors import Refused
from studio.workshop.models import Kind, Person


@transaction.atomic
def send_trial_letter(*, by: Person, now: datetime) -> None:
    """To whoever asks for it."""
    if not by.email:
        raise Refused("You have no e-mail address here. Write one in under People first.")
    errands.ask(Kind.TEST_LETTER, str(by.pk), due_at=now, now=now)
