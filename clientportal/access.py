"""The client's door: opened by a token alone, for looking only, over the connection that cannot write."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import HttpRequest, HttpResponseNotAllowed
from django.http.response import HttpResponseBase
from django.utils import timezone

from studio.front.errors import link_not_open
from studio.routers import reading_as_portal
from studio.workshop.links import link_for
from studio.workshop.models import Link, Studio

P = ParamSpec("P")
LOOKING = ("GET", "HEAD")


def opened(
    view: Callable[Concatenate[HttpRequest, Link, P], HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Hands the view a standing link in place of its token; whatever is wrong with the token, the answer is the same.

    Only then is the method looked at, so that a refused one tells nothing about the token. The shop's zone holds for
    the whole view: there a link ends with the shop's day.
    """

    @wraps(view)
    def door(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        with reading_as_portal():
            studio = Studio.objects.first()
            with timezone.override(ZoneInfo(studio.time_zone if studio else settings.TIME_ZONE)):
                link = link_for(token, timezone.localdate())
                if link is None:
                    return link_not_open(request)
                if request.method not in LOOKING:
                    return HttpResponseNotAllowed(LOOKING)
                return view(request, link, *args, **kwargs)

    return door
