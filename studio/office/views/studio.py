"""The studio itself: its settings, and its people."""

from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from studio.front.signin import lead_only
from studio.office.forms import NewPersonForm, PasswordForm, PersonForm, StudioForm, zones
from studio.office.paging import page_by_key
from studio.office.saving import form_from, form_page, kept, who
from studio.office.spans import told_week
from studio.office.ways_in import comes_in
from studio.office.wording import many, sentence, short_day
from studio.workshop import actions, invitations, letters
from studio.workshop.models import Closure, Person, Place, Role, Stage, Studio


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    row = get_object_or_404(Studio)
    names = ("version", "name", "time_zone", "undo_minutes")
    form = form_from(StudioForm, request, **{name: getattr(row, name) for name in names})
    if kept(form, lambda typed: actions.change_studio(**typed, by=who(request), now=timezone.now())):
        messages.success(request, "The settings are kept.")
        return redirect("office-settings")
    return form_page(
        request,
        form,
        heading="How the studio works",
        send="Keep the settings",
        back="/office/",
        template="office/settings.html",
        zones=zones(),
        more=_more(row, timezone.localdate()),
    )


def _more(studio: Studio, today: date) -> list[tuple[str, str, str]]:
    """What else is set, a sentence each: the address, its name, and how it stands."""
    mail = letters.server()
    closure = Closure.objects.filter(last_day__gte=today).order_by("first_day", "pk").first()
    shut = f"the next is {closure}, {short_day(closure.first_day, today)}" if closure else "none are coming"
    post = f"leaves through {mail.host}" if mail else "lies in the outbox, and nobody is written to"
    leave = [("office-own-studio", "Start with our own studio", "in place of the demo, which is then gone")]
    return [
        *(leave if studio.demo else ()),
        ("office-hours", "Hours", f"when the shop is open: {told_week(studio.hours)}"),
        ("office-closures", "Closed days", f"and public holidays: {shut}"),
        ("office-mail", "Mail", post),
        ("office-people", "People", "who work here, what they do and when, and their passwords"),
        ("office-places", "Places", f"where things are made: {many(Place.objects.count(), 'place')}"),
        ("office-kinds", "Kinds of work", "with their hours, and the studio's own sentence for each"),
    ]


@lead_only
@require_safe
def people(request: HttpRequest) -> HttpResponse:
    page = page_by_key(Person.objects.all(), request.GET.get("after", ""), by="name", newest_first=False)
    now = timezone.now()
    lines = [(somebody, comes_in(somebody, now)) for somebody in page.rows]
    return render(request, "office/people.html", {"lines": lines, "page": page})


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_person(request: HttpRequest) -> HttpResponse:
    form = form_from(NewPersonForm, request, role=Role.MAKER)
    made: list[Person] = []

    def add(typed: dict[str, str]) -> None:
        about = {"name": typed["name"], "email": typed["email"], "role": Role(typed["role"])}
        by, now = who(request), timezone.now()
        made.append(actions.add_person(**about, password=None, by=by, now=now))  # type: ignore[arg-type]
        actions.invite(made[0], by=by, now=now)

    if kept(form, add):
        messages.success(request, f"{made[0]} is added. Give them the link below: by it they choose a password.")
        return redirect("office-person", made[0].pk)
    return form_page(request, form, heading="Somebody new", send="Add them", back="/office/people/")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, person_id: int) -> HttpResponse:
    row = get_object_or_404(Person, pk=person_id)
    names = ("version", "name", "email", "role", "is_active")
    form = form_from(PersonForm, request, **{name: getattr(row, name) for name in names})
    if kept(form, lambda typed: actions.change_person(row, **typed, by=who(request), now=timezone.now())):
        left = row.is_active and not form.cleaned_data["is_active"]
        messages.success(
            request, f"{form.cleaned_data['name']} is kept as you wrote it.{_given_up(row) if left else ''}"
        )
        return redirect("office-people")
    return form_page(
        request,
        form,
        heading=row.name,
        send="Keep it",
        back="/office/people/",
        template="office/person.html",
        somebody=row,
        **_way_in(row, who(request), timezone.now()),
    )


def _way_in(somebody: Person, me: Person, now: datetime) -> dict[str, Any]:
    """What the page of a person says of it. The address stands only where it lets nobody further in than they are."""
    may_let_in, opens = actions.may_let_in(somebody, by=me), invitations.opens(somebody, now)
    return {
        "comes_in": comes_in(somebody, now),
        "may_let_in": may_let_in,
        "invited": opens,
        "address": invitations.address_for(somebody) if opens and may_let_in and somebody != me else "",
        "mail": letters.server(),
    }


def _given_up(somebody: Person) -> str:
    """What becomes of the stages that were given to somebody who has left."""
    count = Stage.objects.filter(maker=somebody, done_at=None, piece__job__closed_on=None).count()
    one = count == 1
    given = f"{many(count, 'stage')} {'was' if one else 'were'} given to {somebody}"
    return f" {sentence(given)}; {'it is' if one else 'they are'} everybody's now." if count else ""


@lead_only
@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest, person_id: int) -> HttpResponse:
    row = get_object_or_404(Person, pk=person_id)
    if row == who(request):  # there the old one is asked for: a phone that lies about is not yet its owner's password
        return redirect("letterbox-password")
    form = form_from(PasswordForm, request, person=row)

    def change(typed: dict[str, Any]) -> None:
        actions.set_password(row, typed["password"], by=who(request), now=timezone.now())

    if kept(form, change):
        messages.success(request, f"{row} signs in with the new password from now on.")
        return redirect("office-people")
    return form_page(
        request,
        form,
        heading=f"A password for {row}",
        lede="Whoever has the old one is signed out everywhere.",
        send="Set the password",
        back="/office/people/",
        template="office/password.html",
        email=row.email,
    )
