"""A page that shows the plan asks again by itself while a newer one is being drawn, and is told nothing until it is there."""

from datetime import UTC, datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django_htmx.middleware import HtmxDetails

LOOKS_AGAIN_FOR = timedelta(seconds=60)  # every five seconds, so a dozen times


def no_news(request: HttpRequest, *, stale: bool, now: datetime) -> HttpResponse | None:
    """The answer to a page that asks too early."""
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    if htmx and stale and now - _since(request.GET.get("since", ""), now) < LOOKS_AGAIN_FOR:
        return HttpResponse(status=204)
    return None


def asks_since(request: HttpRequest, now: datetime) -> int | str:
    """With what a page asks again; empty in its last answer, which asks no more."""
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    return "" if htmx else int(now.timestamp())


def _since(text: str, now: datetime) -> datetime:
    """When the page was opened that asks again; long ago where it does not say."""
    opened = datetime.fromtimestamp(int(text), UTC) if text.isdecimal() and len(text) < 12 else None
    return opened if opened and opened <= now else now - LOOKS_AGAIN_FOR
