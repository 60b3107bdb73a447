"""A job set out from six answers: its pieces and their stages, as its method has them. All of it can be changed after."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction

from studio.craft.methods import METHODS, pieces, scaled_min
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.jobs import add_job, add_piece
from studio.workshop.actions.people import add_client
from studio.workshop.actions.stages import add_stage
from studio.workshop.models import Client, Closure, Job, Person, Stage, StageKind, Studio

MOST_PIECES = 60


def set_out_job(
    *,
    name: str,
    client: str,
    wanted_day: date | None,
    method: str,
    longest_m: Decimal | None,
    number: int,
    form: UUID,
    by: Person,
    now: datetime,
) -> Job:
    """``client`` is a name, of somebody known or new; ``method`` the key of one of the methods, or empty for no stages.

    The van leaves on the day it is wanted, or on the last day before that the shop works; the lead can say otherwise. The
    same ``form`` again changes nothing and returns the first job.
    """
    if first := Job.objects.filter(form=form).first():
        return first
    if not 1 <= number <= MOST_PIECES:
        raise Refused(f"Set out one to {MOST_PIECES} pieces at a time. More can be added to the job.")
    try:
        with transaction.atomic():
            return _set_out(name, client, wanted_day, method, longest_m, number, form, by, now)
    except IntegrityError:  # the same form, at the same moment
        return Job.objects.get(form=form)


def _set_out(
    name: str,
    client: str,
    wanted_day: date | None,
    method: str,
    longest_m: Decimal | None,
    number: int,
    form: UUID,
    by: Person,
    now: datetime,
) -> Job:
    known = Client.objects.filter(name__iexact=client).first() or add_client(name=client, by=by, now=now)
    van_day = _last_worked(wanted_day) if wanted_day else None
    job = add_job(client=known, name=name, wanted_day=wanted_day, van_day=van_day, form=form, by=by, now=now)
    chosen = next((one for one in METHODS if one.key == method), None)
    kinds = {kind.key: kind for kind in StageKind.objects.exclude(key="").select_related("place")}
    last_of: list[Stage | None] = []
    for plotted in pieces(chosen, name[:48], number) if chosen else ():
        piece = add_piece(
            job,
            name=plotted.name,
            longest_mm=int(longest_m * 1000) if longest_m else None,
            stands_alone=plotted.stands_alone,
            by=by,
            now=now,
        )
        stages = [
            add_stage(piece, kind=kind, work_min=scaled_min(kind.work_min, longest_m), by=by, now=now)
            for kind in map(kinds.get, plotted.works)
            if kind  # the studio may have thrown that kind of work away
        ]
        waits_for = last_of[plotted.waits_for] if plotted.waits_for is not None else None
        if stages and waits_for:
            stages[0].follows.set([waits_for])
        # Of a copy it is the first stage that keeps the mould, of the mould itself the last.
        last_of.append((stages[0] if plotted.waits_for is not None else stages[-1]) if stages else None)
    return job


def _last_worked(day: date) -> date:
    """That day, or the last before it on which the shop is open; that day where there is none in a month."""
    hours = Studio.objects.get().hours
    shut = list(Closure.objects.touching(day - timedelta(days=31), day))
    for back in range(31):
        before = day - timedelta(days=back)
        if hours[before.weekday()] and not any(one.first_day <= before <= one.last_day for one in shut):
            return before
    return day
