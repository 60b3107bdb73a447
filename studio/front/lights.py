"""The switch between day and slate. A cookie, so that it works without script and before anybody signs in."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from studio.front.context import LIGHTS
from studio.front.signin import safe_next

_YEAR = 60 * 60 * 24 * 365


@require_POST
def light(request: HttpRequest) -> HttpResponse:
    response = redirect(safe_next(request, "/"))
    wanted = request.POST.get("light", "")
    if wanted in LIGHTS and wanted != "auto":
        response.set_cookie(
            "light", wanted, max_age=_YEAR, samesite="Lax", httponly=True, secure=settings.SESSION_COOKIE_SECURE
        )
    else:
        response.delete_cookie("light", samesite="Lax")
    return response
