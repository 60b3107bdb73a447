"""What a server gets from the application. Django's test client would cut the body off by itself."""

from wsgiref.util import setup_testing_defaults
from wsgiref.validate import validator

import pytest

from studio.wsgi import application

pytestmark = pytest.mark.once
EACH_ITS_OWN = {"Date", "X-Request-Id"}


def ask(method: str, address: str) -> tuple[str, list[tuple[str, str]], bytes]:
    environ = {"REQUEST_METHOD": method, "SCRIPT_NAME": "", "PATH_INFO": address, "QUERY_STRING": ""}
    setup_testing_defaults(environ)
    told: list[tuple[str, list[tuple[str, str]]]] = []

    def start(status: str, headers: list[tuple[str, str]], exc_info: object = None) -> None:
        told.append((status, [(name, value) for name, value in headers if name not in EACH_ITS_OWN]))

    answer = validator(application)(environ, start)  # type: ignore[arg-type]
    try:
        return (*told[0], b"".join(answer))
    finally:
        answer.close()  # type: ignore[attr-defined]


@pytest.mark.parametrize("address", ["/robots.txt", "/static/natch.svg", "/with/"])
def test_head_says_what_get_would_and_sends_nothing_more(address: str) -> None:
    """RFC 9110, section 9.3.2. Content after a HEAD would be read as the beginning of the next answer."""
    *full, content = ask("GET", address)
    *bare, nothing = ask("HEAD", address)
    assert content
    assert nothing == b""
    assert full == bare
