"""How somebody of the studio comes in, in words."""

from datetime import datetime

from django.utils import timezone

from studio.office.wording import on_or_at, short_day, when
from studio.workshop import invitations
from studio.workshop.models import Person


def comes_in(person: Person, now: datetime) -> str:
    if not person.is_active:
        return "May not sign in any more."
    return f"{_invited(person, now)} {_was_here(person, now)}".lstrip()


def _invited(person: Person, now: datetime) -> str:
    until = invitations.opens_until(person)
    if until is None:
        return "" if person.has_usable_password() else "Has no password and no link to choose one."
    if now >= until:
        return f"The link to choose a password ran out {on_or_at(until, now)}."
    return f"Invited: the link to choose a password opens once, until {when(until, now)}."


def _was_here(person: Person, now: datetime) -> str:
    if not person.last_login:
        return "Has not signed in yet."
    today, last = timezone.localdate(now), timezone.localdate(person.last_login)
    return f"Signed in last {'today' if last == today else 'on ' + short_day(last, today)}."
