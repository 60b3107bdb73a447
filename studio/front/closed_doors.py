"""Counts how often clients' addresses that do not open are tried: in all, and from one place within an hour.

Nothing is blocked by it: a whole theatre may stand behind one address. Whoever looks after the studio reads one line of log.
"""

import logging

from django.core.cache import cache
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

TOTAL = "closed-doors"  # the key in the cache, of a number that only grows until the cache is emptied
MANY = 100
HOUR_S = 60 * 60

logger = logging.getLogger(__name__)


def count(request: HttpRequest) -> None:
    """A cache that fails changes nothing for who asked."""
    # Under a keyed hash: the cache may be a server of its own, and need not know who looks at whose page.
    place = salted_hmac(__name__, request.META.get("REMOTE_ADDR", ""), algorithm="sha256").hexdigest()
    try:
        _one_more(TOTAL, None)
        many = _one_more(f"{TOTAL}:{place}", HOUR_S) >= MANY
        if many and cache.add(f"{TOTAL}:{place}:said", True, HOUR_S):
            logger.warning("From one place %d addresses of clients were tried in an hour that do not open.", MANY)
    except Exception as error:  # whichever cache it is, and whatever ails it
        logger.warning("A client's address that does not open was not counted: %s", type(error).__name__)


def _one_more(key: str, seconds: int | None) -> int:
    cache.add(key, 0, seconds)
    return cache.incr(key)
