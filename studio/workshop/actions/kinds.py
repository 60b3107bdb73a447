"""The studio's kinds of work."""

from datetime import datetime

from django.db import transaction
from django.db.models import Max

from studio.craft.methods import MOST_MIN
from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Person, Place, Stage, StageKind


def _refuse(name: str, but: int, *minutes: int) -> None:
    if StageKind.objects.filter(name__iexact=name).exclude(pk=but).exists():
        raise Refused(f"There is a kind of work called {name} already. Use another name.")
    if max(minutes) > MOST_MIN:
        raise Refused("That is more than 10,000 hours. Write the hours for one piece.")


@transaction.atomic
def add_kind(
    *,
    name: str,
    sentence: str,
    work_min: int = 0,
    crew: int = 1,
    place: Place | None = None,
    cure_min: int = 0,
    cure_holds: bool = False,
    meets: bool = False,
    by: Person,
    now: datetime,
) -> StageKind:
    _refuse(name, 0, work_min, cure_min)
    last = StageKind.objects.aggregate(last=Max("position"))["last"] or 0
    kind = StageKind.objects.create(
        name=name,
        sentence=sentence,
        work_min=work_min,
        crew=crew,
        place=place,
        cure_min=cure_min,
        cure_holds=cure_holds,
        meets=meets,
        position=last + 1,
    )
    note("added", kind, by=by, now=now)
    return kind


def change_kind(
    kind: StageKind,
    *,
    name: str,
    sentence: str,
    work_min: int,
    crew: int,
    place: Place | None,
    cure_min: int,
    cure_holds: bool,
    meets: bool,
    version: int,
    by: Person,
    now: datetime,
) -> StageKind:
    """Stages that are set out already keep their hours and places; where pieces meet holds for all at once."""
    _refuse(name, kind.pk, work_min, cure_min)
    values = {
        "name": name,
        "sentence": sentence,
        "work_min": work_min,
        "crew": crew,
        "place": place,
        "cure_min": cure_min,
        "cure_holds": cure_holds,
        "meets": meets,
    }
    return change(kind, values, version=version, by=by, now=now)


@transaction.atomic
def remove_kind(kind: StageKind, *, by: Person, now: datetime) -> None:
    """One that no stage has, or ever had, and that no method of work sets out."""
    if kind.key:
        raise Refused(f"New jobs are set out with {kind}, so it stays. It can be called something else.")
    if Stage.objects.filter(kind=kind).exists():
        raise Refused(f"There are stages of {kind}, so it stays. It can be called something else.")
    if names := [str(person) for person in Person.objects.filter(skills=kind)]:
        # Whoever can do nothing that is named can do everything.
        raise Refused(f"{kind} is among what {', '.join(names)} can do, so it stays. Change their work first.")
    note("removed", kind, by=by, now=now)
    kind.delete()
