"""Deadlines, the first page of the office: which job is worst, what presses today, and why."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from studio.front.render import render_part
from studio.front.signin import lead_only
from studio.office.again import asks_since, no_news
from studio.office.deadlines import page
from studio.workshop import planning


@lead_only
@require_safe
def deadlines(request: HttpRequest) -> HttpResponse:
    """While a plan is being drawn the page asks again by itself."""
    now, stale = timezone.now(), planning.stale()
    if answer := no_news(request, stale=stale, now=now):
        return answer
    context = page(now) | {"stale": stale, "since": asks_since(request, now)}
    return render_part(request, "office/deadlines.html", "office/_deadlines.html", context)
