"""The people of the studio, the clients and their contacts."""

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.hashers import make_password
from django.db import IntegrityError, transaction
from django.db.models import F

from studio.workshop import errands
from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.actions.invitations import refuse_above
from studio.workshop.actions.notices import withdraw_notices
from studio.workshop.models import Client, Contact, Kind, Notice, NoticeState, Person, Role, StageKind, Studio, Week

_EMAIL_TAKEN = "Somebody already signs in with that e-mail address. Use another one."


@transaction.atomic
def add_person(*, name: str, email: str, role: Role, password: str | None, by: Person | None, now: datetime) -> Person:
    """Without a password the person exists, and cannot sign in yet. The plan gives work to all but leads, unless told."""
    try:
        with transaction.atomic():
            person = Person.objects.create(
                name=name,
                email=email.lower(),
                role=role,
                password=make_password(password),
                in_plan=role != Role.LEAD,
            )
    except IntegrityError:
        raise Refused(_EMAIL_TAKEN) from None
    note("added", person, by=by, now=now)
    return person


@transaction.atomic
def change_person(
    person: Person, *, name: str, email: str, role: Role, is_active: bool, version: int, by: Person, now: datetime
) -> Person:
    """Somebody must be left who can lead. Who leaves is signed out for good, and an invitation to them, or to an address
    that they no longer have, stops opening."""
    leads = [lead.pk for lead in Person.objects.select_for_update().filter(role=Role.LEAD, is_active=True)]
    if not (role == Role.LEAD and is_active) and leads == [person.pk]:
        raise Refused("Nobody else leads the studio. Make somebody else a lead first.")
    values: dict[str, Any] = {"name": name, "email": email.lower(), "role": role, "is_active": is_active}
    if not is_active:
        values["session_round"] = F("session_round") + 1
    if not is_active or values["email"] != person.email:
        values["invited_at"] = None
    try:
        return change(person, values, version=version, by=by, now=now)
    except IntegrityError:
        raise Refused(_EMAIL_TAKEN) from None


@transaction.atomic
def change_work(
    person: Person,
    *,
    in_plan: bool,
    skills: Collection[StageKind],
    hours: Week | None,
    version: int,
    by: Person,
    now: datetime,
) -> Person:
    """What somebody does and when: no ``skills`` is everything, ``hours`` None are the shop's."""
    changed = change(person, {"in_plan": in_plan, "hours": hours}, version=version, by=by, now=now)
    changed.skills.set(skills)
    return changed


@transaction.atomic
def set_password(person: Person, password: str, *, by: Person | None, now: datetime) -> None:
    """Ends the person's sessions elsewhere, since a session is tied to the password, and an invitation that stands."""
    refuse_above(person, by=by)
    Person.objects.filter(pk=person.pk).update(password=make_password(password), invited_at=None)
    note("set password", person, by=by, now=now)


@transaction.atomic
def let_look_at_record(person: Person, *, by: Person | None, now: datetime) -> None:
    """At the raw record, where nothing can be changed."""
    if Person.objects.filter(pk=person.pk, is_superuser=False).update(is_superuser=True):
        note("let look at the record", person, by=by, now=now)


@transaction.atomic
def add_client(*, name: str, by: Person, now: datetime) -> Client:
    client = Client.objects.create(name=name)
    note("added", client, by=by, now=now)
    return client


def change_client(client: Client, *, name: str, version: int, by: Person, now: datetime) -> Client:
    return change(client, {"name": name}, version=version, by=by, now=now)


def _refuse_same_address(client: Client, email: str, but: int | None = None) -> None:
    """Two contacts with one address would both be written to."""
    twin = Contact.objects.filter(client=client, email__iexact=email).exclude(pk=but or 0).first() if email else None
    if twin:
        raise Refused(f"{twin.name} has that e-mail address already. Give the link to {twin.name}, or use another one.")


@transaction.atomic
def add_contact(client: Client, *, name: str, email: str, by: Person, now: datetime) -> Contact:
    _refuse_same_address(client, email)
    contact = Contact.objects.create(client=client, name=name, email=email)
    note("added", contact, by=by, now=now)
    return contact


@transaction.atomic
def change_contact(contact: Contact, *, name: str, email: str, version: int, by: Person, now: datetime) -> Contact:
    """Letters that failed at an address which is now another one leave again, and can be taken back until then."""
    _refuse_same_address(contact.client, email, but=contact.pk)
    before = contact.email
    changed = change(contact, {"name": name, "email": email}, version=version, by=by, now=now)
    if email and email != before:
        for notice in contact.notices.filter(state=NoticeState.GOING):
            due_at = now + timedelta(minutes=Studio.objects.get().undo_minutes)
            if errands.try_failed(Kind.SEND_LETTER, str(notice.pk), due_at=due_at, now=now):
                Notice.objects.filter(pk=notice.pk, state=NoticeState.GOING).update(leaves_at=due_at)
    return changed


@transaction.atomic
def remove_contact(contact: Contact, *, by: Person, now: datetime) -> None:
    """Only while nothing was written to them: what was sent is never forgotten. Their links stop opening."""
    if withdraw_notices(contact.notices.all(), now=now) or contact.letters.exists():
        raise Refused(f"{contact.name} has had letters, so they stay. Revoke their links instead.")
    note("removed", contact, by=by, now=now)
    contact.delete()
