"""One piece, and the stages it goes through."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office.forms import PieceForm, StageForm
from studio.office.one_job import stage_lines
from studio.office.saving import form_from, form_page, kept, who
from studio.workshop import actions
from studio.workshop.models import Entry, Piece, Stage


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def piece(request: HttpRequest, piece_id: int) -> HttpResponse:
    row = get_object_or_404(Piece.objects.select_related("job"), pk=piece_id)
    form = form_from(PieceForm, request, name=row.name, note_to_maker=row.note, version=row.version)
    now = timezone.now()
    if kept(form, lambda typed: actions.change_piece(row, **typed, by=who(request), now=now)):
        messages.success(request, f"{form.cleaned_data['name']} is kept as you wrote it.")
        return redirect("office-piece", piece_id)
    begun = set(Entry.objects.filter(stage__piece=row, taken_back_at=None).values_list("stage_id", flat=True))
    return form_page(
        request,
        form,
        heading=row.name,
        send="Keep it",
        back=f"/office/jobs/{row.job_id}/",
        template="office/piece.html",
        piece=row,
        lines=stage_lines(row.stages.select_related("kind", "maker", "done_by"), begun, now),
        stage_form=StageForm(),
    )


@lead_only
@require_POST
def remove_piece(request: HttpRequest, piece_id: int) -> HttpResponse:
    row = get_object_or_404(Piece.objects.select_related("job"), pk=piece_id)
    try:
        actions.remove_piece(row, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("office-piece", piece_id)
    messages.success(request, f"{row.name} is removed.")
    return redirect("office-job", row.job_id)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_stage(request: HttpRequest, piece_id: int) -> HttpResponse:
    row, form = get_object_or_404(Piece.objects.select_related("job"), pk=piece_id), form_from(StageForm, request)

    def add(typed: dict[str, object]) -> None:
        chosen = {key: typed[key] for key in ("kind", "title", "maker")}
        actions.add_stage(row, by=who(request), now=timezone.now(), **chosen)  # type: ignore[arg-type]

    if kept(form, add):
        messages.success(request, "The stage is added at the end. Move it earlier if it belongs there.")
        return redirect("office-piece", piece_id)
    return form_page(request, form, heading=f"A stage of {row}", send="Add it", back=f"/office/pieces/{piece_id}/")


def _stage(stage_id: int) -> Stage:
    return get_object_or_404(Stage.objects.select_related("kind", "piece__job", "maker"), pk=stage_id)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def stage(request: HttpRequest, stage_id: int) -> HttpResponse:
    row = _stage(stage_id)
    values = {"kind": row.kind, "title": row.title, "maker": row.maker, "version": row.version}
    form = form_from(StageForm, request, **values)
    if kept(form, lambda typed: actions.change_stage(row, **typed, by=who(request), now=timezone.now())):
        messages.success(request, "The stage is kept as you wrote it.")
        return redirect("office-piece", row.piece_id)
    back = f"/office/pieces/{row.piece_id}/"
    heading = f"{row.piece}: {row}"
    return form_page(request, form, heading=heading, send="Keep it", back=back, template="office/stage.html", stage=row)


@lead_only
@require_POST
def move_stage(request: HttpRequest, stage_id: int, way: str) -> HttpResponse:
    row = _stage(stage_id)
    actions.move_stage(row, earlier=way == "earlier", by=who(request), now=timezone.now())
    messages.success(request, f"{row} is {way} now.")
    return redirect("office-piece", row.piece_id)


@lead_only
@require_POST
def remove_stage(request: HttpRequest, stage_id: int) -> HttpResponse:
    row = _stage(stage_id)
    try:
        actions.remove_stage(row, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("office-stage", stage_id)
    messages.success(request, f"{row} is removed.")
    return redirect("office-piece", row.piece_id)
