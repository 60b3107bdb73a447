"""Letting somebody in by a link, and putting them out again."""

from datetime import datetime
from typing import Protocol

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office.saving import ask_first, who
from studio.workshop import actions
from studio.workshop.models import Person


@lead_only
@require_POST
def invite(request: HttpRequest, person_id: int) -> HttpResponse:
    if person_id == who(request).pk:  # or an unattended phone would be the whole studio
        messages.error(request, "Your own password is changed under Password, below.")
        return redirect("office-person", person_id)
    said = "{0} has a link to come in by. Copy it from below. Earlier links no longer open."
    return _act(request, person_id, actions.invite, said)


@lead_only
@require_POST
def send(request: HttpRequest, person_id: int) -> HttpResponse:
    return _act(request, person_id, actions.send_invitation, "A letter with the link is on its way to {0.email}.")


@lead_only
@require_POST
def take_back(request: HttpRequest, person_id: int) -> HttpResponse:
    return _act(request, person_id, actions.take_back_invitation, "The link of {0} no longer opens.")


class _Action(Protocol):
    def __call__(self, person: Person, *, by: Person, now: datetime) -> object: ...


def _act(request: HttpRequest, person_id: int, act: _Action, said: str) -> HttpResponse:
    """``said`` is told when it went through, of that person."""
    row = get_object_or_404(Person, pk=person_id)
    try:
        act(row, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, said.format(row))
    return redirect("office-person", row.pk)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def end_sessions(request: HttpRequest, person_id: int) -> HttpResponse:
    row = get_object_or_404(Person, pk=person_id)
    mine = row == who(request)
    but = " but here" if mine else ""

    def act() -> None:
        ended = actions.end_sessions(row, by=who(request), now=timezone.now())
        if mine:
            update_session_auth_hash(request, ended)

    back = f"/office/people/{row.pk}/"
    return ask_first(
        request,
        act,
        heading=f"Sign {row} out everywhere{but}?",
        lede="Each phone and computer asks for the password again, from its next page on. The password stays as it is.",
        send="Sign them out",
        back=back,
        then=back,
        done=f"{row} is signed out everywhere{but}.",
    )
