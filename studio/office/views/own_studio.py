"""From the demo to a studio of one's own."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_http_methods

from studio.front.signin import enter, lead_only
from studio.office.own_form import WORKING_DAYS, OwnStudioForm
from studio.office.saving import form_from, form_page, kept
from studio.workshop import actions
from studio.workshop.models import Person, Studio


@sensitive_post_parameters("password", "again")
@sensitive_variables("form")
@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def own_studio(request: HttpRequest) -> HttpResponseBase:
    """Anywhere but in the demo there is nothing here."""
    row = get_object_or_404(Studio, demo=True)
    usual: list[list[str]] = next(filter(None, row.hours), [])
    form = form_from(OwnStudioForm, request, time_zone=row.time_zone, hours=usual, days=WORKING_DAYS)
    made: list[Person] = []

    def start(typed: dict[str, Any]) -> None:
        about = {name: typed[name] for name in ("name", "time_zone", "lead", "email", "password")}
        made.append(actions.start_own_studio(**about, hours=form.week(), now=timezone.now()))

    if kept(form, start):
        messages.success(request, f"{form.cleaned_data['name']} begins here. The demo is gone.")
        return enter(request, made[0], "/office/")
    return form_page(
        request,
        form,
        heading="Start with our own studio",
        send="Empty the demo and start",
        back="/office/",
        template="office/own_studio.html",
    )
