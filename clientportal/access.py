"""The client's door: opened by a token alone, for looking only, over the connection that cannot write."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponseNotAllowed
from django.http.response import HttpResponseBase
from django.utils import timezone

from studio.front import closed_doors
from studio.front.errors import link_not_open
from studio.routers import reading_as_portal
from studio.workshop.links import link_for
from studio.workshop.models import Link, Studio

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, Link, P], HttpResponseBase]
Finds = Callable[Concatenate[int, P], bool]
LOOKING = ("GET", "HEAD")
_NO_JOB = 0


def opened(finds: Finds[P]) -> Callable[[View[P]], Callable[..., HttpResponseBase]]:
    """Hands the view a link that opens in place of its token. ``finds`` says whether a job has what else the address names.

    Whatever is wrong, the answer is the same and so is the work: ``finds`` is asked in any case. Only then is the
    method looked at, so that a refused one tells nothing. The shop's zone holds for the whole view: there a link ends
    with the shop's day.
    """

    def of(view: View[P]) -> Callable[..., HttpResponseBase]:
        def answer(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            link = link_for(token, timezone.localdate())
            found = finds(link.job_id if link else _NO_JOB, *args, **kwargs)
            if not link or not found:
                raise Http404
            if request.method not in LOOKING:
                return HttpResponseNotAllowed(LOOKING)
            return view(request, link, *args, **kwargs)

        @wraps(view)
        def door(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            studio = None
            try:
                with reading_as_portal():
                    studio = Studio.objects.first()
                    with timezone.override(ZoneInfo(studio.time_zone if studio else settings.TIME_ZONE)):
                        return answer(request, token, *args, **kwargs)
            except Http404:
                closed_doors.count(request)  # outside: a cache may lie in the database
                return link_not_open(request, studio)

        return door

    return of
