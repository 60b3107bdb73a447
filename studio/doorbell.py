"""Notes the day on which a client's page was opened. Nobody imports it: the settings name it.

The page itself can write nothing, so it only leaves word on its request. Mail programs look at links before people do; all that
this says is that somebody, or something, opened the page.
"""

import logging
from collections.abc import Callable
from datetime import date
from functools import partial

from django.conf import settings
from django.core.cache import cache
from django.db.models import Q
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from studio.workshop.models import Link

HOUR_S = 60 * 60

logger = logging.getLogger(__name__)


class Doorbell:
    """Rings when the answer is closed, which is after it was sent: a database that is busy keeps no client waiting."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        opened: tuple[str, date] | None = getattr(request, "opened_link", None)
        of_the_studio = settings.SESSION_COOKIE_NAME in request.COOKIES  # a lead looks at what the client sees
        if opened and request.method == "GET" and response.status_code == 200 and not of_the_studio:
            response._resource_closers.append(partial(ring, *opened))  # type: ignore[attr-defined]
        return response


def ring(public_id: str, day: date) -> None:
    """At most once an hour for a link and a day. What fails is logged and tried at the next visit."""
    key = f"doorbell:{public_id}:{day}"
    try:
        if cache.add(key, True, HOUR_S):
            earlier = Q(opened_on=None) | Q(opened_on__lt=day)
            Link.objects.filter(earlier, public_id=public_id).update(opened_on=day)
    except Exception as error:  # the database's or the cache's: the client has the page already
        logger.warning("The day of a visit could not be noted: %s", type(error).__name__)
        cache.delete(key)
