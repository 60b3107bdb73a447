"""The plan."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from studio.workshop import errands
from studio.workshop.models import Errand, ErrandState, Kind, Plan, Studio
from studio.workshop.planning.answer import FORM
from studio.workshop.planning.drawing import Answer, draw


def ask_for_todays_plan(now: datetime) -> None:
    """Each day begins with a plan of its own: what was to be done yesterday and is not logged is still to do."""
    for studio in Studio.objects.all():
        zone = ZoneInfo(studio.time_zone)
        today = now.astimezone(zone).date()
        # From midnight to midnight, so that what a clock that was ahead has asked for does not count.
        day = [datetime.combine(date, time(), zone) for date in (today, today + timedelta(1))]
        seen = Q(kind=Kind.REFRESH_PLAN, asked_at__range=day) & ~Q(state=ErrandState.DONE)
        plan = Plan.objects.filter(made_at__range=day, answer__form=FORM)
        if not plan.exists() and not Errand.objects.filter(seen).exists():
            with transaction.atomic():
                errands.ask(Kind.REFRESH_PLAN, "studio", due_at=now, now=now)


def refresh(errand: Errand, now: datetime) -> Answer | None:
    return draw(now)


def keep(errand: Errand, answer: Answer | None, now: datetime) -> None:
    if answer:
        Plan.objects.update_or_create(
            pk=1, defaults={"facts": answer.facts, "made_at": answer.made_at, "answer": answer.told}
        )
