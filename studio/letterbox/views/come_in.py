"""Where somebody who was invited chooses a password, and is in."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_http_methods

from studio.front.errors import way_in_not_open
from studio.front.signin import enter, home_of
from studio.letterbox.forms import ChosenPassword
from studio.workshop import actions
from studio.workshop.invitations import person_for
from studio.workshop.models import Studio


@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "HEAD", "POST"])
def come_in(request: HttpRequest, token: str) -> HttpResponse:
    """Looking changes nothing, since mail scanners open every address. Whatever is wrong with it, the answer is one."""
    response = _answer(request, token)
    response.headers["Cache-Control"] = "private, no-store"
    response.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    return response


@sensitive_variables("form")
def _answer(request: HttpRequest, token: str) -> HttpResponse:
    now = timezone.now()
    person = person_for(token, now)
    if person is None:
        return way_in_not_open(request, Studio.objects.first())
    form = ChosenPassword(request.POST if request.method == "POST" else None, person=person)
    if form.is_valid():
        try:
            person = actions.accept_invitation(person, form.cleaned_data["password"], now=now)
        except actions.Refused:  # somebody else was faster by the same link
            return way_in_not_open(request, Studio.objects.first())
        return enter(request, person, home_of(person))
    return render(
        request, "letterbox/come_in.html", {"form": form, "somebody": person}, status=422 if form.errors else 200
    )
