"""Giving a contact the page of a job, and taking it away again."""

import secrets
from datetime import date, datetime

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from studio.workshop.actions.errors import Refused, Stale
from studio.workshop.actions.history import note
from studio.workshop.actions.notices import withdraw_notices
from studio.workshop.models import Contact, Job, Link, Person

_ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"  # nothing that reads like something else


@transaction.atomic
def give_link(contact: Contact, job: Job, *, by: Person, now: datetime) -> Link:
    """A new link, or, after the old one was revoked, the same row with a new token: nobody has opened it, and it has no
    last day. Who asked for no more letters is not asked anew."""
    if contact.client_id != job.client_id:
        raise Refused(f"{contact} belongs to another client. Add them to {job.client} first.")
    link, made = Link.objects.get_or_create(
        contact=contact, job=job, defaults={"public_id": "".join(secrets.choice(_ALPHABET) for _ in range(10))}
    )
    if made or Link.objects.filter(pk=link.pk, revoked_at__isnull=False).update(
        revoked_at=None, version=F("version") + 1, expires_on=None, opened_on=None
    ):
        note("gave link", link, by=by, now=now, job=job)
    return Link.objects.get(pk=link.pk)


@transaction.atomic
def change_link(link: Link, *, expires_on: date | None, was: date | None, by: Person, now: datetime) -> Link:
    """The last day on which it opens, in the current time zone; None for no such day.

    ``was`` is the day that the form was drawn with. Raises Stale where somebody wrote another one meanwhile.
    """
    if expires_on and expires_on != was and expires_on < timezone.localdate(now):
        raise Refused("That day is over. Choose today or a later day, or revoke the link: then it stops at once.")
    rows = Link.objects.standing().filter(pk=link.pk)
    if not rows.exists():
        raise Refused("This link was revoked. Give a new one on the page of the job.")
    if not rows.filter(expires_on=was).update(expires_on=expires_on):
        raise Stale(rows.get())
    if expires_on != was:
        note("changed link", link, by=by, now=now, job=link.job)
    return rows.get()


@transaction.atomic
def revoke_link(link: Link, *, by: Person, now: datetime) -> None:
    """The address stops opening at once. Letters not yet on their way to this contact stay here."""
    if Link.objects.filter(pk=link.pk, revoked_at=None).update(revoked_at=now):
        withdraw_notices(link.job.notices.filter(contact=link.contact), now=now)
        note("revoked link", link, by=by, now=now, job=link.job)
