"""What is new: a job from six answers, a piece of it, and somebody who follows it."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from studio.craft.methods import METHODS, scaled_min
from studio.front.signin import lead_only
from studio.office.forms import ContactForm
from studio.office.job_forms import OWN, NewJobForm, NewPieceForm, metres
from studio.office.saving import form_from, form_page, kept, who
from studio.office.wording import many, short_day
from studio.workshop import actions
from studio.workshop.models import Client, Job, Person, Piece, Stage, StageKind

MOST_OFFERED = 200  # clients in the list under a field; any other name can still be written


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_job(request: HttpRequest) -> HttpResponse:
    form = form_from(NewJobForm, request, once=uuid4(), number=1)
    made: list[Job] = []
    if kept(form, lambda typed: made.append(_set_out(form, typed, who(request)))):
        messages.success(request, _was_set_out(made[0]))
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


def _set_out(form: NewJobForm, typed: dict[str, Any], by: Person) -> Job:
    first = Job.objects.filter(form=typed["once"]).select_related("client").first()
    if first and (first.name, first.client.name.lower()) != (typed["name"], typed["client"].lower()):
        # A browser brought the form back, and something else was written into it.
        form.begin_another()
        raise actions.Refused(f"This form has set out {first} already. Send it again to set out this one as well.")
    return actions.set_out_job(
        name=typed["name"],
        client=typed["client"],
        wanted_day=typed["wanted_day"],
        method="" if typed["method"] == OWN else typed["method"],
        longest_m=metres(typed["longest_mm"]),
        number=typed["number"],
        form=typed["once"],
        by=by,
        now=timezone.now(),
    )


def _was_set_out(job: Job) -> str:
    pieces, stages = job.pieces.count(), Stage.objects.filter(piece__job=job).count()
    what = f"Set out: {many(pieces, 'piece')}, {many(stages, 'stage')}." if pieces else "Set out. Add its pieces below."
    if not job.van_day:
        return f"{what} It has no van day yet: write one in when you know it."
    today = timezone.localdate()
    van, wanted = short_day(job.van_day, today), job.wanted_day
    if job.van_day < today:
        return f"{what} Its van day, {van}, is past: change it."
    shut = f" Nobody works on {short_day(wanted, today)}." if wanted and wanted > job.van_day else ""
    return f"{what} The van is set for {van}; change it if it leaves earlier.{shut}"


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_piece(request: HttpRequest, job_id: int) -> HttpResponse:
    row = get_object_or_404(Job, pk=job_id)
    form = form_from(NewPieceForm, request, method=OWN, once=uuid4())
    if kept(form, lambda typed: _add_piece(row, typed, who(request))):
        messages.success(request, f"{form.cleaned_data['name']} is added.")
        return redirect("office-job", job_id)
    return form_page(request, form, heading=f"A piece of {row}", send="Add it", back=f"/office/jobs/{job_id}/")


@transaction.atomic
def _add_piece(row: Job, typed: dict[str, Any], by: Person) -> None:
    """With the stages of its method, and those that were ticked, in the order of the work."""
    if Piece.objects.filter(form=typed["once"]).exists():
        return
    now, about = timezone.now(), ("name", "note_to_maker", "longest_mm", "stands_alone")
    piece = actions.add_piece(row, **{key: typed[key] for key in about}, form=typed["once"], by=by, now=now)
    method = next((one for one in METHODS if one.key == typed["method"]), None)
    works = StageKind.objects.filter(key__in=method.once + method.each if method else ())
    for kind in sorted({*works, *typed["kinds"]}, key=lambda kind: (kind.position, kind.name)):
        hours = scaled_min(kind.work_min, metres(piece.longest_mm))
        actions.add_stage(piece, kind=kind, work_min=hours, by=by, now=now)


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
def _add_follower(row: Job, typed: dict[str, Any], by: Person) -> None:
    now = timezone.now()
    contact = actions.add_contact(row.client, name=typed["name"], email=typed["email"], by=by, now=now)
    actions.give_link(contact, row, by=by, now=now)
