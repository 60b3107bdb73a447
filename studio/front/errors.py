"""Pages for when something is wrong. Each says what to do next."""

import errno
import sys
from collections.abc import Callable
from typing import Final

from django.core.exceptions import RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent
from django.http import HttpRequest, HttpResponse, HttpResponseNotFound, HttpResponseServerError
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from studio import logs
from studio.front import sheets
from studio.front.csp import CLIENT
from studio.workshop.models import Studio

_TOO_LARGE = (RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent)
_NUMBER = "NUMBER"  # stands for the id of the request, by which its lines are found in the log
_FULL = {errno.ENOSPC, errno.EDQUOT}


def _bare(what: str, *advice: str) -> str:
    """No template, database, session or translation: whatever broke, these bytes can still be sent."""
    lede, *rest = advice
    paragraphs = "\n".join(f"<p>{line}</p>" for line in rest)
    return f"""<!doctype html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>Error: {what.lower()}</title>
<link rel="icon" href="/static/natch.svg" type="image/svg+xml">
<style>{sheets.css("")}</style>
</head>
<body>
<main class="door">
<div class="tape"><h1>{what}</h1></div>
<p class="lede">{lede}</p>
{paragraphs}
</main>
</body>
</html>
"""


_SERVER_ERROR: Final = _bare(
    "Something broke here",
    "It was not you. What was kept before this is still kept.",
    f"Go back and try once more. If it breaks again, tell whoever runs this studio what you did, and this number: {_NUMBER}.",
)
_DISK_FULL: Final = _bare(
    "The disk is full",
    "There is no room left, so nothing of this was kept. What was kept before is still kept.",
    "Tell whoever runs this studio to make room, then go back and send it again.",
)


def link_not_open(request: HttpRequest, studio: Studio | None = None) -> HttpResponse:
    """The one answer to every client's address that does not open, so that it tells nothing about what there is."""
    return _not_open(_("This link no longer opens."), _("Ask whoever sent it for a new one."), studio)


def way_in_not_open(request: HttpRequest, studio: Studio | None = None) -> HttpResponse:
    """The one answer to every invitation that does not open."""
    return _not_open(_("This way in no longer opens."), _("Ask the lead for a new one."), studio)


def _not_open(what: str, advice: str, studio: Studio | None = None) -> HttpResponse:
    told = {"what": what, "advice": advice, "demo": bool(studio and studio.demo)}
    return HttpResponseNotFound(render_to_string("front/trouble.html", told))


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    if isinstance(exception, _TOO_LARGE):
        return too_large(request)
    advice = _("Something in the address or the form was cut short on its way. Go back and send it again.")
    return _page(request, 400, _("That could not be read"), advice)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    advice = _("You are signed in, but not as somebody who runs the studio. Ask the lead if you need what is on it.")
    return _page(request, 403, _("This page is for the lead"), advice)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    advice = _(
        "Nothing was changed. Go back, load the page anew and send it once more. "
        "If it happens again, let the browser keep cookies for this site."
    )
    return _page(request, 403, _("That form was open too long"), advice)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    advice = _("The address may be cut short, or the thing was moved. Go back to the start and look for it there.")
    return _page(request, 404, _("There is nothing here"), advice)


def too_large(request: HttpRequest) -> HttpResponse:
    advice = _("Nothing of it was kept. Go back and send fewer photos at a time, or smaller ones.")
    return _page(request, 413, _("That was too much at once"), advice)


class NoBlankAnswers:
    """Whatever refuses without a word gets a page that says what to do. A client's address has its own one answer, or none."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        wordless = isinstance(response, HttpResponse) and response.status_code >= 400 and not response.content
        if wordless and not request.path_info.startswith(CLIENT):
            page = _not_here(request) if response.status_code == 405 else _did_not_work(request, response.status_code)
            response.content = page.content  # type: ignore[attr-defined]
            response.headers["Content-Type"] = page.headers["Content-Type"]
        return response


def _not_here(request: HttpRequest) -> HttpResponse:
    advice = _("Nothing was changed. Go back to the page before this one and press its button there.")
    return _page(request, 405, _("That cannot be done from here"), advice)


def _did_not_work(request: HttpRequest, status: int) -> HttpResponse:
    advice = _("Go back and try once more. If it goes wrong again, tell whoever runs this studio what you did.")
    return _page(request, status, _("That did not work"), advice)


def server_error(request: HttpRequest) -> HttpResponse:
    """Called while the exception is being handled; a full disk can show anywhere, even while a form is being read."""
    error = sys.exception()
    full = (isinstance(error, OSError) and error.errno in _FULL) or "disk is full" in str(error)
    if full:
        return HttpResponse(_DISK_FULL, status=507)
    return HttpResponseServerError(_SERVER_ERROR.replace(_NUMBER, logs.request_id() or "none"))


def _page(request: HttpRequest, status: int, what: str, advice: str) -> HttpResponse:
    if request.path_info.startswith(CLIENT):
        return link_not_open(request)
    return render(request, "front/trouble.html", {"what": what, "advice": advice, "way_on": True}, status=status)
