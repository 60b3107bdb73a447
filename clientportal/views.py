"""How a job is coming along, and its photos, for the one person who holds the link."""

import re

from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.template.loader import render_to_string
from django.utils import timezone

from clientportal.access import opened
from clientportal.pages import job_page
from studio.front.media import serve_rendition
from studio.workshop.models import Link, Photo

_SHA256 = re.compile("[0-9a-f]{64}")


@opened(lambda job_id: True)
def job(request: HttpRequest, link: Link) -> HttpResponse:
    today = timezone.localdate()
    page = job_page(link, today)
    request.opened_link = link.public_id, today  # type: ignore[attr-defined]  # for the doorbell
    # Without the request: a template that cannot reach it cannot touch a session or a cookie.
    return HttpResponse(render_to_string("clientportal/job.html", {"page": page, "demo": page.demo}))


def _shows(job_id: int, sha256: str) -> bool:
    name = sha256 if _SHA256.fullmatch(sha256) else ""
    return Photo.objects.shown().filter(stage__piece__job=job_id, renditions__sha256=name).exists()


@opened(_shows)
def photo(request: HttpRequest, link: Link, sha256: str) -> HttpResponseBase:
    return serve_rendition(request, sha256)


@opened(lambda job_id, rest: False)
def nowhere(request: HttpRequest, link: Link, rest: str) -> HttpResponseBase:
    """Every other address of a client's: no job has anything there, so that nobody comes as far as this."""
    raise Http404
