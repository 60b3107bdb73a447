"""Deadlines, the first page of the office: which job is worst, what presses today, and why."""

from datetime import UTC, datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from django_htmx.middleware import HtmxDetails

from studio.front.render import render_part
from studio.front.signin import lead_only
from studio.office.deadlines import page
from studio.workshop import planning

LOOKS_AGAIN_FOR = timedelta(seconds=60)  # every five seconds, so a dozen times


@lead_only
@require_safe
def deadlines(request: HttpRequest) -> HttpResponse:
    """While a plan is being drawn the page asks again by itself, and is answered with nothing until there is news."""
    now, stale = timezone.now(), planning.stale()
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    since = _since(request.GET.get("since", ""), now)
    if htmx and stale and now - since < LOOKS_AGAIN_FOR:
        return HttpResponse(status=204)
    context = page(now) | {"stale": stale, "since": "" if htmx else int(now.timestamp())}
    return render_part(request, "office/deadlines.html", "office/_deadlines.html", context)


def _since(text: str, now: datetime) -> datetime:
    """When the page was opened that asks again; long ago where it does not say."""
    opened = datetime.fromtimestamp(int(text), UTC) if text.isdecimal() and len(text) < 12 else None
    return opened if opened and opened <= now else now - LOOKS_AGAIN_FOR
