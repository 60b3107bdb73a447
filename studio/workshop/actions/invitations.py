"""Letting somebody of the studio in by a link that opens once, and putting them out again."""

from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.db.models import F

from studio.workshop import errands, invitations, letters
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Kind, Person


def may_let_in(person: Person, *, by: Person | None) -> bool:
    """Whoever hands out the way in for somebody can come in as them. So nobody gets further than they are by it."""
    return by is None or by.is_superuser or not person.is_superuser


def refuse_above(person: Person, *, by: Person | None) -> None:
    if not may_let_in(person, by=by):
        raise Refused(f"{person} may look at the raw record and you may not, so their way in is not yours to give.")


@transaction.atomic
def invite(person: Person, *, by: Person | None, now: datetime) -> Person:
    """A link opens from now on; an earlier one stops. ``by`` is None on the machine itself."""
    refuse_above(person, by=by)
    if not Person.objects.filter(pk=person.pk, is_active=True).update(invited_at=now):
        raise Refused(f"{person} may not sign in any more. Let them first, then make a link.")
    note("invited", person, by=by, now=now)
    return Person.objects.get(pk=person.pk)


@transaction.atomic
def take_back_invitation(person: Person, *, by: Person, now: datetime) -> None:
    """Its link stops opening at once, and a letter with it that waits does not leave."""
    if Person.objects.filter(pk=person.pk, invited_at__isnull=False).update(invited_at=None):
        errands.drop(Kind.INVITE, str(person.pk), now=now)
        note("took back invitation", person, by=by, now=now)


@transaction.atomic
def send_invitation(person: Person, *, by: Person, now: datetime) -> None:
    """A letter with the link that opens when it leaves."""
    refuse_above(person, by=by)
    if letters.server() is None:
        raise Refused("No mail server is set up, so nothing was sent. Copy the link and give it to them.")
    if not invitations.opens(Person.objects.get(pk=person.pk), now):
        raise Refused(f"The link of {person} no longer opens. Make a new one first.")
    errands.ask(Kind.INVITE, str(person.pk), due_at=now, now=now)
    note("sent invitation", person, by=by, now=now)


@transaction.atomic
def accept_invitation(person: Person, password: str, *, now: datetime) -> Person:
    """The password that they chose. ``person`` is as the link found them: of two at once, the first wins."""
    standing = Person.objects.filter(
        pk=person.pk,
        is_active=True,
        password=person.password,
        invited_at=person.invited_at,
        invited_at__gt=now - invitations.OPENS_FOR,
    )
    if not standing.update(password=make_password(password), invited_at=None):
        raise Refused("This link no longer opens. Ask for a new one.")
    note("accepted invitation", person, by=person, now=now)
    return Person.objects.get(pk=person.pk)


@transaction.atomic
def end_sessions(person: Person, *, by: Person, now: datetime) -> Person:
    """Signed out everywhere, from the next page on."""
    Person.objects.filter(pk=person.pk).update(session_round=F("session_round") + 1)
    note("ended sessions", person, by=by, now=now)
    return Person.objects.get(pk=person.pk)
