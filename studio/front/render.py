"""One view, one context, two templates: the page, and the part of it that htmx swaps."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django_htmx.middleware import HtmxDetails


def render_part(
    request: HttpRequest, page_template: str, part_template: str, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    """The part for htmx; the page for a browser, for a boosted link and for a page that htmx's history asks for again."""
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    part = bool(htmx) and not htmx.boosted and not htmx.history_restore_request
    response = render(request, part_template if part else page_template, context, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response
