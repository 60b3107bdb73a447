"""Who sends a form at the bench, and what it is answered with."""

import re
from functools import wraps
from typing import ParamSpec, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from studio.front.signin import View
from studio.workshop.models import Person
from studio.workshop.photos import Arrived

P = ParamSpec("P")
_ONLY_SENT = re.compile(r"(take-back|carry-on)/$")  # what a page sends, and nobody opens


def person_at(request: HttpRequest) -> Person:
    return cast(Person, request.user)  # the door has seen to it


def sent_signed_out(view: View[P]) -> View[P]:
    """What was sent cannot be kept for nobody; so it is said, and the way back is to the page that sent it."""

    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        if request.method == "POST" and not isinstance(request.user, Person):
            messages.error(request, _("You were signed out, so nothing was kept. Sign in, then send it again."))
            page = _ONLY_SENT.sub("", request.path)
            return see(f"{reverse('sign-in')}?{urlencode({'next': page})}")
        return view(request, *args, **kwargs)

    return door


def see(address: str) -> HttpResponse:
    """The answer to a form is another page (RFC 9110, 303), so that loading it anew sends nothing twice."""
    return HttpResponseRedirect(address, status=303)


def say_what_was_no_photo(request: HttpRequest, arrived: Arrived, kept: str) -> None:
    """Each reason once, after ``kept``, which says what was kept all the same; empty where nothing else was sent."""
    refused = [_(sentence) for sentence in dict.fromkeys(arrived.refused)]
    if refused:
        messages.error(request, " ".join(filter(None, [kept, *refused])))
