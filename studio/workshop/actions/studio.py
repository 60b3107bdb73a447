"""Setting out the studio on first use, and changing its settings."""

from datetime import datetime
from zoneinfo import available_timezones

from django.conf import settings
from django.db import transaction

from studio.craft.methods import PLACES, WORKS
from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused
from studio.workshop.models import Person, Place, StageKind, Studio, Week

# Each sentence says what was done for the client, and why it looks rough now.
SENTENCES = {
    "carving": "Cut from blocks of foam and rasped by eye. The tool marks go under the next coats.",
    "modelling": "Built up by hand in clay. The surface stays soft until the mould is taken.",
    "mould": "A mould is made around the form. It looks like a plain lump; the detail is on the inside.",
    "lay-up": "Thin layers of glass mat and resin, laid into the mould. The colour is the resin's own and will not show.",
    "carpentry": "A timber frame that carries the weight. Screws and pencil marks disappear inside.",
    "filling": "Seams and tool marks are filled and sanded. The patches look worst just before they vanish.",
    "fit-up": "All parts together for the first time, standing by themselves. Gaps are adjusted now, before any paint.",
    "prime": "A plain undercoat, so that every dent shows and can be put right.",
    "paint": "Colour goes on in layers. The first ones look flat, and that is right.",
    "pack": "Each piece wrapped on its own and labelled for the journey.",
}


@transaction.atomic
def set_out_studio() -> Studio:
    """Makes the one studio row and the default places and kinds of stage where they are missing. Changes nothing that is there."""
    studio, _ = Studio.objects.get_or_create(pk=1, defaults={"time_zone": settings.TIME_ZONE})
    if not Place.objects.exists() and not StageKind.objects.exists():
        Place.objects.bulk_create(
            Place(name=name, capacity=capacity, position=position)
            for position, (name, capacity) in enumerate(PLACES, start=1)
        )
    if not StageKind.objects.exists():
        places = {place.name: place for place in Place.objects.all()}
        StageKind.objects.bulk_create(
            StageKind(
                name=work.key,
                key=work.key,
                sentence=SENTENCES[work.key],
                position=position,
                work_min=work.work_min,
                crew=work.crew,
                place=places.get(work.place),
                cure_min=work.cure_min,
                cure_holds=work.cure_holds,
                meets=work.meets,
            )
            for position, work in enumerate(WORKS, start=1)
        )
    return studio


NO_HOURS = "Leave at least one day with hours, or nothing can be planned."


def no_zone(time_zone: str) -> str:
    """What is wrong with the name of a time zone, or nothing."""
    return "" if time_zone in available_timezones() else f"“{time_zone}” is no time zone. Write one like Europe/London."


def change_studio(*, name: str, time_zone: str, undo_minutes: int, version: int, by: Person, now: datetime) -> Studio:
    if problem := no_zone(time_zone):
        raise Refused(problem)
    values = {"name": name, "time_zone": time_zone, "undo_minutes": undo_minutes}
    return change(Studio.objects.get(), values, version=version, by=by, now=now)


def change_hours(*, hours: Week, version: int, by: Person, now: datetime) -> Studio:
    """When the shop is open, from Monday to Sunday. Whoever has no hours of their own works these."""
    if not any(hours):
        raise Refused(NO_HOURS)
    return change(Studio.objects.get(), {"hours": hours}, version=version, by=by, now=now)
