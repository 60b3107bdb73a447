"""How the studio is: for whoever watches over it, on this machine or with a key. Everybody else finds nothing here."""

import re
import tempfile
from collections.abc import Callable
from functools import wraps
from hmac import compare_digest
from ipaddress import ip_address

from django.conf import settings
from django.db import Error
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from studio.front import metrics as measured
from studio.workshop.models import Studio

_HERE = {"localhost", "127.0.0.1", "[::1]"}
_CAME_THROUGH = ("HTTP_FORWARDED", "HTTP_VIA", "HTTP_X_REAL_IP", "HTTP_X_FORWARDED_")
View = Callable[[HttpRequest], HttpResponse]


def _for_who_watches(view: View) -> View:
    """For everybody else there is nothing here, whatever they send."""

    @csrf_exempt  # or what a stranger posts would be refused by another page than at an unknown address
    @never_cache
    @wraps(view)
    def door(request: HttpRequest) -> HttpResponse:
        if not (_has_key(request) or _is_here(request)):
            raise Http404
        return require_safe(view)(request)

    return door


def _has_key(request: HttpRequest) -> bool:
    scheme, _, given = request.headers.get("Authorization", "").partition(" ")  # RFC 9110, 11.1: its case is no matter
    return scheme.lower() == "bearer" and compare_digest(given.encode(), settings.METRICS_KEY.encode())


def _is_here(request: HttpRequest) -> bool:
    """A proxy on this machine comes from here too; but what it passes on names another host, or says where it came from."""
    try:
        near = ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False
    host = re.sub(r":[0-9]*$", "", request.META.get("HTTP_HOST", "").lower())
    return near and host in _HERE and not any(name.startswith(_CAME_THROUGH) for name in request.META)


@_for_who_watches
def healthz(request: HttpRequest) -> HttpResponse:
    trouble = _trouble()
    return HttpResponse(
        f"{trouble or 'ok'}\n", status=503 if trouble else 200, content_type="text/plain; charset=utf-8"
    )


def _trouble() -> str:
    try:
        Studio.objects.exists()
    except Error:
        return "The database does not answer."
    try:
        for folder in (settings.FILE_UPLOAD_TEMP_DIR, settings.MEDIA_ROOT):
            with tempfile.TemporaryFile(dir=folder) as file:
                file.write(b"ok")
    except OSError:
        return "No photo can be kept: the data folder cannot be written."
    return ""


@_for_who_watches
def metrics(request: HttpRequest) -> HttpResponse:
    return HttpResponse(measured.told(timezone.now()), content_type=measured.CONTENT_TYPE)
