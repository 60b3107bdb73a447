"""One piece, and the stages it goes through."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from studio.craft.methods import scaled_min
from studio.front.signin import lead_only
from studio.office.job_forms import NewStageForm, PieceForm, metres
from studio.office.saving import ask_first, form_from, form_page, kept, who
from studio.office.stage_lines import lines_of
from studio.office.wording import listed, many
from studio.workshop import actions, planning
from studio.workshop.models import Entry, Piece


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def piece(request: HttpRequest, piece_id: int) -> HttpResponse:
    row = get_object_or_404(Piece.objects.select_related("job"), pk=piece_id)
    names = ("version", "name", "longest_mm", "stands_alone")
    form = form_from(PieceForm, request, note_to_maker=row.note, **{name: getattr(row, name) for name in names})
    now = timezone.now()
    if kept(form, lambda typed: actions.change_piece(row, **typed, by=who(request), now=now)):
        messages.success(request, f"{form.cleaned_data['name']} is kept as you wrote it.")
        return redirect("office-piece", piece_id)
    told = None if row.job.closed_on else planning.newest()
    return form_page(
        request,
        form,
        heading=row.name,
        send="Keep it",
        back=f"/office/jobs/{row.job_id}/",
        template="office/piece.html",
        piece=row,
        stale=told is not None and planning.stale(),
        lines=lines_of(row.job, told, now).get(piece_id, ()),
        stage_form=NewStageForm(initial={"once": uuid4()}),
        removable=not Entry.objects.filter(stage__piece=row).exists(),
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def remove_piece(request: HttpRequest, piece_id: int) -> HttpResponse:
    row = get_object_or_404(Piece.objects.select_related("job"), pk=piece_id)
    stages = [str(stage) for stage in row.stages.select_related("kind")]
    has = f"Its {many(len(stages), 'stage')} {'goes' if len(stages) == 1 else 'go'} with it: {listed(stages)}."
    return ask_first(
        request,
        lambda: actions.remove_piece(row, by=who(request), now=timezone.now()),
        heading=f"Remove {row.name}?",
        lede=has if stages else "It has no stages.",
        send="Remove this piece",
        back=f"/office/pieces/{piece_id}/",
        then=f"/office/jobs/{row.job_id}/",
        done=f"{row.name} is removed.",
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_stage(request: HttpRequest, piece_id: int) -> HttpResponse:
    """Its hours, place and setting time are first guesses of its kind, to be changed on its page."""
    row = get_object_or_404(Piece.objects.select_related("job"), pk=piece_id)
    form = form_from(NewStageForm, request, once=uuid4())

    def add(typed: dict[str, Any]) -> None:
        chosen = {key: typed[key] for key in ("kind", "title", "maker")}
        hours = scaled_min(typed["kind"].work_min, metres(row.longest_mm))
        actions.add_stage(row, **chosen, work_min=hours, form=typed["once"], by=who(request), now=timezone.now())

    if kept(form, add):
        messages.success(request, "The stage is added at the end. Move it earlier if it belongs there.")
        return redirect("office-piece", piece_id)
    return form_page(request, form, heading=f"A stage of {row}", send="Add it", back=f"/office/pieces/{piece_id}/")
