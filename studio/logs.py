"""The log: a line each, with the ids of request, person and errand; never a key of an address, and never an e-mail address."""

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

# Also as they stand inside another address: /sign-in/?next=%2Fwith%2F...
_SLASH = r"(?:/|%(?:25)*2f)"
_TOKEN = re.compile(
    rf"({_SLASH}(?:with|open|letterbox{_SLASH}[a-z-]+){_SLASH})(?:[^/\s\"'<>?#&%]|%(?!(?:25)*2f))+", re.IGNORECASE
)
# By its shape alone, where somebody mistyped the way to it: an id, a dot or colon, and a signature (links.py, invitations.py).
_BARE = re.compile(r"(?<![\w.-])([0-9a-z]{1,18}[.:])(?:[\w-]{43}|[\w-]{24})(?![\w-])")
_BREAK = r"\s\"'<>()\[\]{},;:=/?&|"
_AT = r"(?:@|%(?:25)*40)"
# Each run of letters is tried from its start only, and never given back: a line as long as a header may be costs no more than its length.
_ADDRESS = re.compile(rf"(?<![^{_BREAK}])(?:[^{_BREAK}@%]|%(?!(?:25)*40))*+{_AT}[^{_BREAK}]*+", re.IGNORECASE)
_tracebacks = logging.Formatter()
_request: ContextVar[tuple[str, Any] | None] = ContextVar("request", default=None)
_errand: ContextVar[str] = ContextVar("errand", default="")


@contextmanager
def about_request(request_id: str, request: Any) -> Iterator[None]:
    """What is logged inside names this request, and who asks as soon as that is known; nobody is looked up for it."""
    token = _request.set((request_id, request))
    try:
        yield
    finally:
        _request.reset(token)


@contextmanager
def about_errand(errand_id: str) -> Iterator[None]:
    token = _errand.set(errand_id)
    try:
        yield
    finally:
        _errand.reset(token)


def request_id() -> str:
    """Of the request that is being answered, or empty."""
    known = _request.get()
    return known[0] if known else ""


def _ids() -> str:
    known = _request.get()
    person = getattr(getattr(known[1], "_cached_user", None), "pk", None) if known else None
    ids = {"request": request_id(), "person": person, "errand": _errand.get()}
    return "".join(f" {name}={value}" for name, value in ids.items() if value)


def cut(text: str) -> str:
    return _ADDRESS.sub("…@…", _BARE.sub(r"\1…", _TOKEN.sub(r"\1…", text)))


class TokenFilter(logging.Filter):
    """Lets every record through, without the token of an address that opens by one, and without e-mail addresses."""

    def filter(self, record: logging.LogRecord) -> bool:
        try:
            message = record.getMessage()
        except (
            Exception
        ):  # a message that does not fit its values, or a value that cannot be told; still logged, still cut
            message = str(record.msg)
        record.msg, record.args = cut(message), ()
        if record.exc_info and not record.exc_text:
            record.exc_text = _tracebacks.formatException(record.exc_info)
        record.exc_text = cut(record.exc_text) if record.exc_text else record.exc_text
        return True


class LineFormatter(logging.Formatter):
    """Time, level, where, ids, message; a traceback follows on the same line."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s%(ids)s: %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        record.ids = _ids()
        return " | ".join(line for line in super().format(record).splitlines() if line.strip())
