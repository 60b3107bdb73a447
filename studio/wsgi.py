"""The web application, for waitress or any other WSGI server."""

import os
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.core.wsgi import get_wsgi_application

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIEnvironment

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
_answer = get_wsgi_application()


def application(environ: "WSGIEnvironment", start_response: "StartResponse") -> Iterable[bytes]:
    """HEAD gets no content (RFC 9110, 9.3.2): Django leaves that to the server, and waitress to the application."""
    answer = _answer(environ, start_response)
    if environ["REQUEST_METHOD"] != "HEAD":
        return answer
    answer.close()  # PEP 3333: whoever takes an answer closes it
    return []
