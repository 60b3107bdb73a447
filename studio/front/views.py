"""How the studio is: for whoever watches over it, on this machine or with a key. Everybody else finds nothing here."""

import tempfile
from hmac import compare_digest
from ipaddress import ip_address

from django.conf import settings
from django.db import Error, connection
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from studio.front import metrics as measured

_HERE = {"localhost", "127.0.0.1", "[::1]"}
_CAME_THROUGH = (
    "HTTP_FORWARDED",
    "HTTP_VIA",
    "HTTP_X_FORWARDED_FOR",
    "HTTP_X_FORWARDED_HOST",
    "HTTP_X_FORWARDED_PROTO",
)


def _let_in(request: HttpRequest) -> None:
    """Raises Http404 for whom it is not."""
    if not (_has_key(request) or _is_here(request)):
        raise Http404


def _has_key(request: HttpRequest) -> bool:
    given: str = request.headers.get("Authorization", "")
    return compare_digest(given.encode(), f"Bearer {settings.METRICS_KEY}".encode())


def _is_here(request: HttpRequest) -> bool:
    """A proxy on this machine comes from here too; but what it passes on names another host, or says where it came from."""
    try:
        near = ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False
    host: str = request.META.get("HTTP_HOST", "").rpartition(":")[0] or request.META.get("HTTP_HOST", "")
    return near and host in _HERE and not any(name in request.META for name in _CAME_THROUGH)


@never_cache
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    _let_in(request)
    trouble = _trouble()
    return HttpResponse(
        f"{trouble or 'ok'}\n", status=503 if trouble else 200, content_type="text/plain; charset=utf-8"
    )


def _trouble() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except Error:
        return "The database does not answer."
    try:
        with tempfile.TemporaryFile(dir=settings.FILE_UPLOAD_TEMP_DIR) as file:
            file.write(b"ok")
    except OSError:
        return "No photo can be kept: the data folder cannot be written."
    return ""


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    _let_in(request)
    return HttpResponse(measured.told(timezone.now()), content_type=measured.CONTENT_TYPE)
