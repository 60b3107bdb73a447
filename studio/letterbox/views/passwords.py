"""One's own password, and whoever else is signed in with it."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_http_methods, require_POST

from studio.front import throttle
from studio.front.signin import TOO_MANY_TRIES, signed_in, who
from studio.letterbox.forms import ChangedPassword
from studio.workshop import actions
from studio.workshop.models import Person


@sensitive_post_parameters("old", "password", "again")
@sensitive_variables("form")
@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """The old one is asked for, since a phone that lies about unlocked is not yet its owner's password."""
    person, status = who(request), 200
    form = ChangedPassword(request.POST if request.method == "POST" else None, person=person)
    if form.is_valid():
        limits = throttle.of_password(person)
        if not throttle.may_try(limits):
            status = 429
            form.add_error(None, TOO_MANY_TRIES)
        elif not person.check_password(form.cleaned_data["old"]):
            throttle.failed()
            form.add_error("old", _("That is not your password. Write the one that you sign in with now."))
        else:
            throttle.was_right(limits)
            actions.set_password(person, form.cleaned_data["password"], by=person, now=timezone.now())
            _stay(request, person)
            messages.success(request, _("You sign in with the new password from now on. Elsewhere you are signed out."))
            return redirect("letterbox-password")
    if form.errors and status == 200:
        status = 422
    return render(request, "letterbox/password.html", {"form": form}, status=status)


@signed_in
@require_POST
def sign_out_elsewhere(request: HttpRequest) -> HttpResponse:
    person = who(request)
    actions.end_sessions(person, by=person, now=timezone.now())
    _stay(request, person)
    messages.success(request, _("You are signed out everywhere but here."))
    return redirect("letterbox-password")


def _stay(request: HttpRequest, person: Person) -> None:
    update_session_auth_hash(request, Person.objects.get(pk=person.pk))
