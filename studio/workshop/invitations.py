"""The way in for somebody of the studio: a link that opens once, at which they choose a password. Never stored."""

import base64
import re
from datetime import datetime, timedelta
from hmac import compare_digest

from django.conf import settings
from django.utils.crypto import salted_hmac

from studio.workshop.models import Person

OPENS_FOR = timedelta(days=7)
_TOKEN = re.compile(r"([1-9][0-9]{0,17})\.([0-9A-Za-z_-]{43})")  # whose, a dot, and base64url (RFC 4648, section 5)
_NOBODY = ("0", "")


def _signature(person: Person) -> str:
    """Over all that may end it: a newer invitation, taking it back, and a password, however it was chosen."""
    invited_at = person.invited_at.timestamp() if person.invited_at else None
    value = f"{person.pk} {invited_at} {person.password}"
    digest = salted_hmac("studio.workshop.invitations", value, algorithm="sha256").digest()
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")


def token_for(person: Person) -> str:
    return f"{person.pk}.{_signature(person)}"


def path_for(person: Person) -> str:
    return f"/letterbox/come-in/{token_for(person)}/"


def address_for(person: Person) -> str:
    return f"{settings.ADDRESS}{path_for(person)}"


def opens_until(person: Person) -> datetime | None:
    """None where no invitation stands."""
    return person.invited_at + OPENS_FOR if person.invited_at and person.is_active else None


def opens(person: Person, now: datetime) -> bool:
    until = opens_until(person)
    return until is not None and now < until


def person_for(token: str, now: datetime) -> Person | None:
    """Who may choose a password by this token. Malformed, unknown, forged, used and run out do the same work."""
    shape = _TOKEN.fullmatch(token)
    pk, given = shape.groups() if shape else _NOBODY
    person = Person.objects.filter(pk=int(pk)).first()
    good = compare_digest(_signature(person or Person()), given)
    return person if person and good and opens(person, now) else None
