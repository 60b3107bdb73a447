"""Jobs: all of them as tape, and one job on its page."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from studio.front.signin import lead_only
from studio.office import past, tapes
from studio.office.forms import ContactForm, JobForm, NewJobForm, NewPieceForm, WordsForm
from studio.office.one_job import job_page, photo_lines, photos_of
from studio.office.paging import page_by_key
from studio.office.saving import form_from, form_page, kept, who
from studio.office.wording import many, sentence
from studio.workshop import actions
from studio.workshop.models import Client, Job, Person, Release, StageKind

MOST_OFFERED = 200  # clients in the list under a field; any other name can still be written


@lead_only
@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    weeks = tapes.by_week(timezone.localdate())
    count = sum(len(week.tapes) for week in weeks)
    closed = Job.objects.filter(closed_on__isnull=False).select_related("client")
    context = {
        "heading": sentence(f"{many(count, 'job')} {'is' if count == 1 else 'are'} going on."),
        "weeks": weeks,
        "closed": page_by_key(closed, request.GET.get("after", ""), by="closed_on"),
    }
    return render(request, "office/jobs.html", context)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_job(request: HttpRequest) -> HttpResponse:
    form = form_from(NewJobForm, request, release=Release.LOOKED)
    made: list[Job] = []
    if kept(form, lambda typed: made.append(_add_job(typed, who(request)))):
        messages.success(request, f"{made[0]} is set out. Add its pieces and whoever follows it.")
        return redirect("office-job", made[0].pk)
    return form_page(
        request,
        form,
        heading="New job",
        send="Set out the job",
        back="/office/jobs/",
        template="office/new_job.html",
        clients=Client.objects.order_by("-pk")[:MOST_OFFERED],
    )


@transaction.atomic
def _add_job(typed: dict[str, object], by: Person) -> Job:
    """For a client of that name, or for a new one."""
    now, name = timezone.now(), str(typed["client"])
    client = Client.objects.filter(name__iexact=name).first() or actions.add_client(name=name, by=by, now=now)
    rest = {key: typed[key] for key in ("name", "release", "wanted_day", "van_day")}
    return actions.add_job(client=client, by=by, now=now, **rest)  # type: ignore[arg-type]


@lead_only
@require_safe
def job(request: HttpRequest, job_id: int) -> HttpResponse:
    row = get_object_or_404(Job.objects.select_related("client"), pk=job_id)
    return render(request, "office/job.html", job_page(row, timezone.now()))


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def change_job(request: HttpRequest, job_id: int) -> HttpResponse:
    row = get_object_or_404(Job, pk=job_id)
    names = ("version", "name", "release", "wanted_day", "van_day", "closed_on")
    form = form_from(JobForm, request, **{name: getattr(row, name) for name in names})
    if kept(form, lambda typed: actions.change_job(row, **typed, by=who(request), now=timezone.now())):
        messages.success(request, "The job is kept as you wrote it.")
        return redirect("office-job", job_id)
    return form_page(request, form, heading=f"Change {row}", send="Keep it", back=f"/office/jobs/{job_id}/")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def words(request: HttpRequest, job_id: int) -> HttpResponse:
    """What the client's page opens with: written anew each time, the earlier ones stay in the history."""
    row = get_object_or_404(Job, pk=job_id)
    last = row.confirmations.first()
    form = form_from(WordsForm, request, words=last.words if last else "", version=last.pk if last else 0)
    if kept(form, lambda typed: _confirm(row, typed, who(request))):
        messages.success(request, "The client reads that now.")
        return redirect("office-job", job_id)
    return form_page(
        request, form, heading="What the client reads", send="Confirm these words", back=f"/office/jobs/{job_id}/"
    )


def _confirm(row: Job, typed: dict[str, Any], by: Person) -> None:
    after = typed["version"] or None
    actions.confirm_words(row, words=typed["words"], after=after, by=by, now=timezone.now())


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_piece(request: HttpRequest, job_id: int) -> HttpResponse:
    row = get_object_or_404(Job, pk=job_id)
    form = form_from(NewPieceForm, request)
    if kept(form, lambda typed: _add_piece(row, typed, who(request))):
        messages.success(request, f"{form.cleaned_data['name']} is added.")
        return redirect("office-job", job_id)
    return form_page(request, form, heading=f"A piece of {row}", send="Add it", back=f"/office/jobs/{job_id}/")


@transaction.atomic
def _add_piece(row: Job, typed: dict[str, object], by: Person) -> None:
    now = timezone.now()
    piece = actions.add_piece(row, name=str(typed["name"]), note_to_maker=str(typed["note_to_maker"]), by=by, now=now)
    kinds: list[StageKind] = list(typed["kinds"])  # type: ignore[call-overload]
    for kind in sorted(kinds, key=lambda kind: kind.position):
        actions.add_stage(piece, kind=kind, by=by, now=now)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_follower(request: HttpRequest, job_id: int) -> HttpResponse:
    """A contact of the client, who gets a link to this job at once."""
    row = get_object_or_404(Job.objects.select_related("client"), pk=job_id)
    form = form_from(ContactForm, request)
    if kept(form, lambda typed: _add_follower(row, typed, who(request))):
        messages.success(request, f"{form.cleaned_data['name']} has a link now. Copy it from below.")
        return redirect("office-job", job_id)
    return form_page(
        request,
        form,
        heading=f"Somebody at {row.client} who follows {row}",
        send="Add them and give a link",
        back=f"/office/jobs/{job_id}/",
    )


@transaction.atomic
def _add_follower(row: Job, typed: dict[str, object], by: Person) -> None:
    now = timezone.now()
    contact = actions.add_contact(row.client, name=str(typed["name"]), email=str(typed["email"]), by=by, now=now)
    actions.give_link(contact, row, by=by, now=now)


@lead_only
@require_safe
def job_photos(request: HttpRequest, job_id: int) -> HttpResponse:
    row, now = get_object_or_404(Job, pk=job_id), timezone.now()
    page = page_by_key(photos_of(row), request.GET.get("after", ""), by="at")
    return render(
        request, "office/job_photos.html", {"job": row, "page": page, "lines": photo_lines(page.rows), "now": now}
    )


@lead_only
@require_safe
def job_history(request: HttpRequest, job_id: int) -> HttpResponse:
    row, now = get_object_or_404(Job, pk=job_id), timezone.now()
    page = page_by_key(row.history.select_related("by"), request.GET.get("after", ""), by="at")
    return render(
        request, "office/job_history.html", {"job": row, "page": page, "lines": past.told(page.rows), "now": now}
    )
