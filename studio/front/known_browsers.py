"""Browsers in which somebody has signed in before. Each keeps a signed cookie that names it, and whose it is.

With it, the tries of strangers do not make its owner wait (OWASP, "Slow Down Online Guessing Attacks with Device Cookies").
"""

import secrets

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

from studio.workshop.models import Person

KEPT_FOR_S = 60 * 60 * 24 * 365


def _cookie(person: Person) -> str:
    prefix = "__Host-" if settings.SECURE else ""  # as with the session's: no other host can put one in its place
    return f"{prefix}known-{person.pk}"  # several people may share a tablet


def _signer(person: Person) -> signing.TimestampSigner:
    return signing.TimestampSigner(salt=f"studio.front.known_browsers {person.pk}")


def name_of(request: HttpRequest, person: Person) -> str:
    """The browser's own name, or nothing where this person has not signed in with it."""
    try:
        return _signer(person).unsign(request.COOKIES.get(_cookie(person), ""), max_age=KEPT_FOR_S)
    except signing.BadSignature:
        return ""


def remember(request: HttpRequest, response: HttpResponse, person: Person) -> None:
    """From now on, and for a year from now. It keeps its name, so that signing in again makes it no new browser."""
    name = name_of(request, person) or secrets.token_urlsafe(12)
    response.set_cookie(
        _cookie(person),
        _signer(person).sign(name),
        max_age=KEPT_FOR_S,
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )
