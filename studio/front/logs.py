"""Keeps the keys that stand in addresses out of the log, and each record on one line."""

import logging
import re

# Also as they stand inside another address: /sign-in/?next=%2Fwith%2F...
_TOKEN = re.compile(r"((?:/|%2f)(?:with|open)(?:/|%2f))[^/\s\"'<>?#&%]+", re.IGNORECASE)
_tracebacks = logging.Formatter()


def cut(text: str) -> str:
    return _TOKEN.sub(r"\1…", text)


class TokenFilter(logging.Filter):
    """Lets every record through, without the token of ``/with/<token>`` or ``/open/<token>``."""

    def filter(self, record: logging.LogRecord) -> bool:
        try:
            message = record.getMessage()
        except (TypeError, ValueError, KeyError):  # a message that does not fit its values; still logged, still cut
            message = f"{record.msg} {record.args}"
        record.msg, record.args = cut(message), ()
        if record.exc_info and not record.exc_text:
            record.exc_text = _tracebacks.formatException(record.exc_info)
        record.exc_text = cut(record.exc_text) if record.exc_text else record.exc_text
        return True


class LineFormatter(logging.Formatter):
    """Time, level, where, message; a traceback follows on the same line."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        return " | ".join(line for line in super().format(record).splitlines() if line.strip())
