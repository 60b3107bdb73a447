"""How a job is coming along, and its photos, for the one person who holds the link."""

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone

from clientportal.access import opened
from clientportal.pages import job_page
from studio.front.media import serve_rendition
from studio.workshop.models import Link, Photo


@opened
def job(request: HttpRequest, link: Link) -> HttpResponse:
    page = job_page(link, timezone.localdate())
    # Without the request: a template that cannot reach it cannot touch a session or a cookie.
    return HttpResponse(render_to_string("clientportal/job.html", {"page": page, "demo": page.demo}))


@opened
def photo(request: HttpRequest, link: Link, sha256: str) -> FileResponse:
    if not Photo.objects.shown().filter(stage__piece__job=link.job_id, renditions__sha256=sha256).exists():
        raise Http404
    return serve_rendition(sha256)
