"""Whether letters leave, through which mail server, and a test letter to see it."""

from datetime import datetime

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from studio.env import Tls
from studio.front.render import render_part
from studio.front.signin import lead_only
from studio.office.again import asks_since, no_news
from studio.office.saving import who
from studio.office.waiting import perhaps_sent
from studio.office.wording import on_or_at
from studio.workshop import actions, letters
from studio.workshop.models import STANDING, Errand, ErrandState, Kind, Person

_ENCRYPTED = {
    Tls.AT_ONCE: "from the first word (TLS)",
    Tls.STARTTLS: "yes (STARTTLS), or nothing is sent",
    Tls.NONE: "not at all: right only for a mail server on this machine",
}


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def mail(request: HttpRequest) -> HttpResponse:
    me, now, server = who(request), timezone.now(), letters.server()
    if request.method == "POST":
        try:
            actions.send_trial_letter(by=me, now=now)
        except actions.Refused as refusal:
            messages.error(request, str(refusal))
        return redirect("office-mail")
    trial = Errand.objects.filter(kind=Kind.TEST_LETTER, subject=str(me.pk)).order_by("asked_at").last()
    going = trial is not None and trial.state in STANDING
    if answer := no_news(request, stale=going, now=now):
        return answer
    context = {
        "server": server,
        "encrypted": _ENCRYPTED[server.tls] if server else "",
        "sender": settings.LETTERS_FROM,
        "secure": settings.SECURE,
        "person": me,
        "trial": _told(trial, me, now) if trial else "",
        "bad": trial is not None and trial.state in {ErrandState.FAILED, ErrandState.UNKNOWN},
        "going": going,
        "since": asks_since(request, now),
    }
    return render_part(request, "office/mail.html", "office/_trial.html", context)


def _told(trial: Errand, person: Person, now: datetime) -> str:
    match ErrandState(trial.state):
        case ErrandState.DONE:
            at = on_or_at(trial.done_at or trial.asked_at, now)
            return f"The mail server took the test letter {at}. Look whether it came to {person.email}, and not among the unwanted ones."
        case ErrandState.FAILED:
            return f"The test letter was not sent. {trial.error}"
        case ErrandState.UNKNOWN:
            return f"The test letter was {perhaps_sent(trial, now)}"
    return "The test letter is on its way."
