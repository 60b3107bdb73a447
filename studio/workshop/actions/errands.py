"""The lead asks once more for what failed, or says what became of what is unknown."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from studio.workshop import errands
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Errand, Person


@transaction.atomic
def try_again(errand_id: UUID, *, by: Person, now: datetime) -> None:
    if not errands.try_again(errand_id, now):
        raise Refused("That has been tried again already, or it is done.")
    note("tried again", Errand.objects.get(pk=errand_id), by=by, now=now)
