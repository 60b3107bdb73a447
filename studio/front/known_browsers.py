"""A browser in which somebody has signed in before keeps one signed cookie that names it, and those who came last.

With it, the tries of strangers do not make them wait (OWASP, "Slow Down Online Guessing Attacks with Device Cookies"). It
lets nobody in, and opens nothing.
"""

import secrets

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

from studio.workshop.models import Person

MOST_PERSONS = 5  # at one tablet in the workshop; whoever comes sixth is known anew once they have signed in
KEPT_FOR_S = 60 * 60 * 24 * 365


def name_of(request: HttpRequest, person: Person) -> str:
    """The browser's own name, or nothing where this person has not signed in with it."""
    name, persons = _read(request)
    return name if person.pk in persons else ""


def remember(request: HttpRequest, response: HttpResponse, person: Person) -> None:
    """From now on, and for a year from now. It keeps its name, so that signing in again makes it no new browser."""
    name, persons = _read(request)
    latest = [person.pk, *(other for other in persons if other != person.pk)][:MOST_PERSONS]
    response.set_cookie(
        _cookie(),
        signing.dumps([name or secrets.token_urlsafe(12), latest], salt=__name__),
        max_age=KEPT_FOR_S,
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )


def _read(request: HttpRequest) -> tuple[str, list[int]]:
    """A cookie that is forged or too old is none."""
    try:
        name, persons = signing.loads(request.COOKIES.get(_cookie(), ""), salt=__name__, max_age=KEPT_FOR_S)
    except signing.BadSignature:
        return "", []
    return name, persons


def _cookie() -> str:
    return (
        "__Host-browser" if settings.SECURE else "browser"
    )  # as the session's: no other host can put one in its place
