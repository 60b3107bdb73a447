"""Clients, their contacts, and the links that contacts read along by."""

from typing import Any

from django.contrib import messages
from django.db.models import Count, Exists, OuterRef, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.front.signin import lead_only
from studio.office.followers import asked, stands
from studio.office.forms import ClientForm, ContactForm, LinkForm
from studio.office.paging import page_by_key
from studio.office.saving import ask_first, form_from, form_page, kept, who
from studio.office.wording import many, sentence
from studio.workshop import actions
from studio.workshop.links import opens
from studio.workshop.models import Client, Contact, Job, Letter, Link


@lead_only
@require_safe
def clients(request: HttpRequest) -> HttpResponse:
    going = Count("jobs", filter=Q(jobs__closed_on=None), distinct=True)
    rows = Client.objects.annotate(going=going, people=Count("contacts", distinct=True))
    page = page_by_key(rows, request.GET.get("after", ""), by="name", newest_first=False)
    counts = [(row, getattr(row, "going", 0), getattr(row, "people", 0)) for row in page.rows]
    lines = [
        (row, sentence(f"{many(jobs, 'job')} going on, {many(people, 'contact')}.")) for row, jobs, people in counts
    ]
    count = Client.objects.count()
    heading = sentence(f"{many(count, 'client')}.") if count else "No clients yet."
    return render(request, "office/clients.html", {"heading": heading, "lines": lines, "page": page})


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_client(request: HttpRequest) -> HttpResponse:
    form = form_from(ClientForm, request)
    made: list[Client] = []

    def add(typed: dict[str, str]) -> None:
        made.append(actions.add_client(name=typed["name"], by=who(request), now=timezone.now()))

    if kept(form, add):
        messages.success(request, f"{made[0]} is added.")
        return redirect("office-client", made[0].pk)
    return form_page(request, form, heading="New client", send="Add them", back="/office/clients/")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def client(request: HttpRequest, client_id: int) -> HttpResponse:
    row = get_object_or_404(Client, pk=client_id)
    form = form_from(ClientForm, request, name=row.name, version=row.version)
    if kept(form, lambda typed: actions.change_client(row, **typed, by=who(request), now=timezone.now())):
        messages.success(request, "The name is kept as you wrote it.")
        return redirect("office-client", client_id)
    return form_page(
        request,
        form,
        heading=row.name,
        send="Keep it",
        back="/office/clients/",
        template="office/client.html",
        client=row,
        contacts=row.contacts.annotate(written_to=Exists(Letter.objects.filter(contact=OuterRef("pk")))),
        jobs=page_by_key(row.jobs.all(), request.GET.get("after", ""), by="id"),
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_contact(request: HttpRequest, client_id: int) -> HttpResponse:
    row, form = get_object_or_404(Client, pk=client_id), form_from(ContactForm, request)

    def add(typed: dict[str, str]) -> None:
        actions.add_contact(row, name=typed["name"], email=typed["email"], by=who(request), now=timezone.now())

    if kept(form, add):
        messages.success(request, f"{form.cleaned_data['name']} is added. Give them a link on the page of a job.")
        return redirect("office-client", client_id)
    return form_page(
        request, form, heading=f"A contact at {row}", send="Add them", back=f"/office/clients/{client_id}/"
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def contact(request: HttpRequest, contact_id: int) -> HttpResponse:
    row = get_object_or_404(Contact, pk=contact_id)
    form = form_from(ContactForm, request, name=row.name, email=row.email, version=row.version)
    if kept(form, lambda typed: actions.change_contact(row, **typed, by=who(request), now=timezone.now())):
        messages.success(request, f"{form.cleaned_data['name']} is kept as you wrote it.")
        return redirect("office-client", row.client_id)
    return form_page(request, form, heading=row.name, send="Keep it", back=f"/office/clients/{row.client_id}/")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def remove_contact(request: HttpRequest, contact_id: int) -> HttpResponse:
    row = get_object_or_404(Contact.objects.select_related("client"), pk=contact_id)
    open_links = row.links.standing().count()
    stop = f" {sentence(many(open_links, 'link'))} of theirs {'stops' if open_links == 1 else 'stop'} opening."
    return ask_first(
        request,
        lambda: actions.remove_contact(row, by=who(request), now=timezone.now()),
        heading=f"Remove {row}?",
        lede=f"{row} is no contact of {row.client} any more.{stop if open_links else ''}",
        send=f"Remove {row}",
        back=f"/office/clients/{row.client_id}/",
        then=f"/office/clients/{row.client_id}/",
        done=f"{row} is removed.",
    )


@lead_only
@require_POST
def give_link(request: HttpRequest, job_id: int, contact_id: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("client"), pk=job_id)
    row = get_object_or_404(Contact, pk=contact_id)
    try:
        actions.give_link(row, job, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"{row} has a link now. Copy it from below.")
    return redirect("office-job", job_id)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def link(request: HttpRequest, link_id: int) -> HttpResponse:
    """The last day on which it opens."""
    row = get_object_or_404(Link.objects.select_related("contact", "job"), pk=link_id)
    if row.revoked_at:
        messages.error(request, f"The link of {row.contact} was revoked. Give a new one below.")
        return redirect("office-job", row.job_id)
    now = timezone.now()
    form = form_from(LinkForm, request, expires_on=row.expires_on, was=row.expires_on)

    def change(typed: dict[str, Any]) -> None:
        actions.change_link(row, expires_on=typed["expires_on"], was=typed["was"], by=who(request), now=now)

    if kept(form, change):
        messages.success(request, f"The last day of the link of {row.contact} is kept as you wrote it.")
        return redirect("office-job", row.job_id)
    today = timezone.localdate(now)
    again = "" if opens(row, today) else " Write a later day, or none, and it opens again."
    return form_page(
        request,
        form,
        heading=f"The link of {row.contact} to {row.job}",
        lede=f"{stands(row, today)} {asked(row, row.contact, today)}".rstrip() + again,
        send="Keep it",
        back=f"/office/jobs/{row.job_id}/",
        template="office/link.html",
        link=row,
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def revoke_link(request: HttpRequest, link_id: int) -> HttpResponse:
    row = get_object_or_404(Link.objects.select_related("contact", "job"), pk=link_id)
    back = f"/office/jobs/{row.job_id}/"
    return ask_first(
        request,
        lambda: actions.revoke_link(row, by=who(request), now=timezone.now()),
        heading=f"Revoke the link of {row.contact}?",
        lede=f"Its address stops opening at once, for good. Letters about {row.job} that have not left stay here.",
        send="Revoke the link",
        back=back,
        then=back,
        done=f"The link of {row.contact} no longer opens. A new one can be given below.",
    )
