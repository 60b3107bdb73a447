"""The days when the shop is shut, when somebody is away, and when somebody works longer."""

from datetime import date, datetime, time, timedelta

from django.db import transaction

from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Absence, Closure, Overtime, Person, Studio
from studio.workshop.public_days import NoSuchRegion, public_days

LONGEST = timedelta(days=366)


def _refuse_odd(first_day: date, last_day: date) -> None:
    if last_day < first_day:
        raise Refused("It ends before it begins. Put the later day last.")
    if last_day - first_day > LONGEST:
        raise Refused("That is more than a year. Write it in shorter parts.")


@transaction.atomic
def add_closure(*, first_day: date, last_day: date, name: str, by: Person, now: datetime) -> Closure:
    """The same once more, as a form that is sent twice brings it, changes nothing; so for what follows."""
    _refuse_odd(first_day, last_day)
    closure, new = Closure.objects.get_or_create(first_day=first_day, last_day=last_day, name=name, public=False)
    if new:
        note("added", closure, by=by, now=now)
    return closure


@transaction.atomic
def remove_closure(closure: Closure, *, by: Person, now: datetime) -> None:
    """The shop is open again; of a public holiday too, where the studio works through it."""
    note("removed", closure, by=by, now=now)
    closure.delete()


@transaction.atomic
def import_public_days(*, country: str, region: str, by: Person, now: datetime, today: date) -> int:
    """Public holidays of this year and the next two become closures; those that were imported before are replaced from
    the first of January on, and those of earlier years stay. Returns how many there are now."""
    years = [today.year, today.year + 1, today.year + 2]
    try:
        found = public_days(country, region, years)
    except NoSuchRegion as problem:
        raise Refused(str(problem)) from None
    if not found:
        raise Refused("No public holidays are known for that. Choose another region, or write them in below.")
    Closure.objects.filter(public=True, first_day__gte=date(today.year, 1, 1)).delete()
    Closure.objects.bulk_create(
        Closure(first_day=day, last_day=day, name=name[:80], public=True) for day, name in found
    )
    studio = Studio.objects.get()
    Studio.objects.filter(pk=studio.pk).update(country=country, region=region)
    note("imported public holidays", studio, by=by, now=now)
    return len(found)


@transaction.atomic
def add_absence(person: Person, *, first_day: date, last_day: date, by: Person, now: datetime) -> Absence:
    _refuse_odd(first_day, last_day)
    absence, new = Absence.objects.get_or_create(person=person, first_day=first_day, last_day=last_day)
    if new:
        note("added", absence, by=by, now=now)
    return absence


@transaction.atomic
def remove_absence(absence: Absence, *, by: Person, now: datetime) -> None:
    note("removed", absence, by=by, now=now)
    absence.delete()


@transaction.atomic
def add_overtime(
    person: Person, *, first_day: date, last_day: date, starts: time, ends: time, by: Person, now: datetime
) -> list[Overtime]:
    """On one day, whatever it is; of several only on those that this person works, and on which the shop is open."""
    _refuse_odd(first_day, last_day)
    if ends <= starts:
        raise Refused("It ends before it begins. Write the earlier hour first.")
    days = [first_day + timedelta(number) for number in range((last_day - first_day).days + 1)]
    if len(days) > 1:
        week = person.hours or Studio.objects.get().hours
        off = [*Closure.objects.touching(first_day, last_day), *person.absences.all()]
        days = [
            day
            for day in days
            if week[day.weekday()] and not any(each.first_day <= day <= each.last_day for each in off)
        ]
    if not days:
        raise Refused(f"{person} works on none of these days. Write a day that they do, or each day by itself.")
    found = []
    for day in days:
        overtime, new = Overtime.objects.get_or_create(person=person, day=day, starts=starts, ends=ends)
        if new:
            note("added", overtime, by=by, now=now)
        found.append(overtime)
    return found


@transaction.atomic
def remove_overtime(overtime: Overtime, *, by: Person, now: datetime) -> None:
    note("removed", overtime, by=by, now=now)
    overtime.delete()
