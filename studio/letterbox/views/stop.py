"""Where a contact ends the letters about a job, without signing in (RFC 2369, RFC 8058)."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from studio.front.errors import link_not_open
from studio.workshop import actions
from studio.workshop.links import link_to_stop, opens
from studio.workshop.models import Link, Studio


@csrf_exempt  # a mail program posts here by itself (RFC 8058, 3.2), without a cookie; the token is what lets it
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """Looking changes nothing, since mail scanners open every address. Any POST ends the letters, but the button's that
    asks for them again. Where the page itself is closed, nothing is told of the job, and nothing but the end is to be had. The answer to a POST is the page itself and no redirect, as the RFC wants it."""
    link = link_to_stop(token)
    if link is None:
        return link_not_open(request, Studio.objects.first())
    open_page = opens(link, timezone.localdate())
    if request.method == "POST":
        again = open_page and request.POST.get("letters") == "again"
        wish = actions.start_letters if again else actions.stop_letters
        wish(link, now=timezone.now())
        link = Link.objects.select_related("contact", "job").get(pk=link.pk)
    return render(request, "letterbox/stop.html", {"link": link, "open_page": open_page})
