"""Large bodies come to the bench only: elsewhere a form holds words, and parsing more would only fill the disk."""

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from studio.front.errors import too_large

MOST_WORDS_BYTES = 1_000_000
PHOTOS_COME_TO = "/bench/"


class SmallBodies:
    """Stands before anything that reads a body, the check of a form's token among it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        length = request.META.get("CONTENT_LENGTH") or "0"
        large = not length.isdecimal() or int(length) > MOST_WORDS_BYTES
        if large and not request.path_info.startswith(PHOTOS_COME_TO):
            return too_large(request)
        return self.get_response(request)
