"""The people of the studio, the clients and their contacts."""

from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.db import IntegrityError, transaction

from studio.workshop.actions.editing import change
from studio.workshop.actions.errors import Refused
from studio.workshop.actions.history import note
from studio.workshop.models import Client, Contact, Person, Role

_EMAIL_TAKEN = "Somebody already signs in with that e-mail address. Use another one."


@transaction.atomic
def add_person(*, name: str, email: str, role: Role, password: str | None, by: Person | None, now: datetime) -> Person:
    """Without a password the person exists, and cannot sign in yet."""
    try:
        with transaction.atomic():
            person = Person.objects.create(name=name, email=email.lower(), role=role, password=make_password(password))
    except IntegrityError:
        raise Refused(_EMAIL_TAKEN) from None
    note("added", person, by=by, now=now)
    return person


@transaction.atomic
def change_person(
    person: Person, *, name: str, email: str, role: Role, is_active: bool, version: int, by: Person, now: datetime
) -> Person:
    """Somebody must be left who can lead."""
    others = Person.objects.filter(role=Role.LEAD, is_active=True).exclude(pk=person.pk)
    if not (role == Role.LEAD and is_active) and person.role == Role.LEAD and not others.exists():
        raise Refused("Nobody else leads the studio. Make somebody else a lead first.")
    values = {"name": name, "email": email.lower(), "role": role, "is_active": is_active}
    try:
        return change(person, values, version=version, by=by, now=now)
    except IntegrityError:
        raise Refused(_EMAIL_TAKEN) from None


@transaction.atomic
def set_password(person: Person, password: str, *, by: Person | None, now: datetime) -> None:
    """Ends the person's sessions elsewhere, since Django ties a session to the password."""
    Person.objects.filter(pk=person.pk).update(password=make_password(password))
    note("set password", person, by=by, now=now)


@transaction.atomic
def add_client(*, name: str, by: Person, now: datetime) -> Client:
    client = Client.objects.create(name=name)
    note("added", client, by=by, now=now)
    return client


def change_client(client: Client, *, name: str, version: int, by: Person, now: datetime) -> Client:
    return change(client, {"name": name}, version=version, by=by, now=now)


@transaction.atomic
def add_contact(client: Client, *, name: str, email: str, by: Person, now: datetime) -> Contact:
    contact = Contact.objects.create(client=client, name=name, email=email)
    note("added", contact, by=by, now=now)
    return contact


def change_contact(contact: Contact, *, name: str, email: str, version: int, by: Person, now: datetime) -> Contact:
    return change(contact, {"name": name, "email": email}, version=version, by=by, now=now)
