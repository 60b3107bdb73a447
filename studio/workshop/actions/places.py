"""The studio's places: benches, bays, booths."""

from datetime import datetime

from django.db import transaction
from django.db.models import Max

from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Person, Place, Stage


def _refuse_twin(name: str, but: int = 0) -> None:
    if Place.objects.filter(name__iexact=name).exclude(pk=but).exists():
        raise Refused(f"There is a place called {name} already. Use another name.")


@transaction.atomic
def add_place(*, name: str, capacity: int, by: Person, now: datetime) -> Place:
    _refuse_twin(name)
    last = Place.objects.aggregate(last=Max("position"))["last"] or 0
    place = Place.objects.create(name=name, capacity=capacity, position=last + 1)
    note("added", place, by=by, now=now)
    return place


def change_place(place: Place, *, name: str, capacity: int, version: int, by: Person, now: datetime) -> Place:
    _refuse_twin(name, place.pk)
    return change(place, {"name": name, "capacity": capacity}, version=version, by=by, now=now)


@transaction.atomic
def remove_place(place: Place, *, by: Person, now: datetime) -> None:
    """Only while nothing is to be done there: a stage without a place would be planned as if it needed none."""
    if Stage.objects.filter(place=place, done_at=None, piece__job__closed_on=None).exists():
        raise Refused(f"Some stages are still to be done at {place}. Move them to another place first.")
    note("removed", place, by=by, now=now)
    place.delete()
