"""How often a password may be tried. Counted in Django's cache, under keyed hashes of account and address.

A try counts before it is made and is taken off again when it was right, so that many at once cannot all slip through.
"""

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address
from typing import TypeVar

from django.core.cache import cache
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

from studio.front import known_browsers
from studio.workshop.models import Person

WINDOW_S = 15 * 60
AN_ACCOUNT, A_BROWSER, AN_ADDRESS = 10, 10, 60
FAILURES = "sign-in:failures"  # all tries that came to nothing since the cache began, for whoever measures

T = TypeVar("T")
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Limit:
    """``own``: nobody's tries but the person's own count by it."""

    what: str
    most: int
    own: bool = False

    @property
    def key(self) -> str:
        return "tries:" + salted_hmac("studio.front.throttle", self.what, algorithm="sha256").hexdigest()


def of_sign_in(request: HttpRequest, email: str, person: Person | None) -> Sequence[Limit]:
    """``person`` is whose address it is, or None. In a browser that they have signed in with before, only its own tries
    count: else a stranger could keep a lead out of the studio. An address comes first, so that one that has had its tries
    takes none of anybody's."""
    browser = known_browsers.name_of(request, person) if person else ""
    if person and browser:
        return [Limit(f"browser {person.pk} {browser}", A_BROWSER, own=True)]
    # By the row, since a database may find it by other letters too. The address of nobody counts like any other.
    account = f"person {person.pk}" if person else f"nobody {email.upper()}"
    return [Limit(f"address {_network(request)}", AN_ADDRESS), Limit(account, AN_ACCOUNT)]


def of_password(person: Person) -> Sequence[Limit]:
    """Of somebody signed in, who is asked for it once more."""
    return [Limit(f"password {person.pk}", AN_ACCOUNT, own=True)]


def _network(request: HttpRequest) -> str:
    """Whoever has an IPv6 address usually has 2**64 of them (RFC 6177, 2), so they count as one."""
    given: str = request.META.get("REMOTE_ADDR", "")
    try:
        address = ip_address(given.partition("%")[0])
    except ValueError:  # a socket file has none
        return given
    if not isinstance(address, IPv6Address):
        return str(address)
    return str(address.ipv4_mapped or f"{int(address) >> 64:x}")


def may_try(limits: Sequence[Limit]) -> bool:
    """Counts a try. False where there were too many: then nothing may be computed of the password."""
    may = _asked(lambda: all(_count(limit.key) <= limit.most for limit in limits), otherwise=True)
    if not may:
        failed()
    return may


def was_right(limits: Sequence[Limit]) -> None:
    """What somebody mistyped themselves is forgotten with it. What may have been strangers' is not: they would have their tries
    at the account anew, and whoever has an account those of a whole address."""
    _asked(lambda: all(_take_off(limit) for limit in limits), otherwise=True)


def failed() -> None:
    _asked(lambda: _count(FAILURES, None), otherwise=0)


def _count(key: str, seconds: int | None = WINDOW_S) -> int:
    if cache.add(key, 1, seconds):
        return 1
    try:
        count = cache.incr(key)
    except ValueError:  # it ran out in this very moment
        return _count(key, seconds)
    if count <= 1:  # as above, where the cache then began a count without an end
        cache.touch(key, seconds)
    return count


def _take_off(limit: Limit) -> bool:
    with suppress(ValueError):  # it has run out
        _ = cache.delete(limit.key) if limit.own else cache.decr(limit.key)
    return True


class _Cache:
    silent = False


def _asked(question: Callable[[], T], *, otherwise: T) -> T:
    """A cache that does not answer locks nobody out, and says so in the log once until it answers again."""
    try:
        answer = question()
    except Exception as error:  # whatever a cache raises
        if not _Cache.silent:
            log.error("the cache does not answer, so tries to sign in are not counted (%s)", type(error).__name__)
        _Cache.silent = True
        return otherwise
    _Cache.silent = False
    return answer
