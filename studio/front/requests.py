"""One line in the log for each request, and an id by which somebody can tell of it."""

import logging
import secrets
import time
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from studio import logs
from studio.front.csp import CLIENT

log = logging.getLogger(__name__)
_QUIET = ("/static/", "/healthz", "/metrics", "/robots.txt")


class Requests:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.perf_counter()
        with logs.about_request(secrets.token_hex(4), request):
            response = self.get_response(request)
            if not request.path_info.startswith(CLIENT):  # there every failure is like any other, to the last header
                response.headers["X-Request-Id"] = logs.request_id()
            if not request.path_info.startswith(_QUIET):
                ms = (time.perf_counter() - began) * 1000
                log.info("%s %s %d %d ms", request.method, request.path_info, response.status_code, ms)
        return response
