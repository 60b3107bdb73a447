"""One piece, and the stages it goes through."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office.forms import PieceForm, StageForm
from studio.office.one_job import stage_lines
from studio.office.saving import ask_first, form_from, form_page, kept, who
from studio.office.waiting import what_taking_back_means
from studio.office.wording import listed, many
from studio.workshop import actions
from studio.workshop.models import Entry, Piece, Says, Stage


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
    now = timezone.now()
    done = row.entries.filter(says=Says.DONE, taken_back_at=None).select_related("by")
    entry = done.prefetch_related("notices__contact", "notices__letter").first()
    return form_page(
        request,
        form,
        heading=f"{row.piece}: {row}",
        send="Keep it",
        back=f"/office/pieces/{row.piece_id}/",
        template="office/stage.html",
        stage=row,
        now=now,
        entry=entry,
        letters=what_taking_back_means(entry, now) if entry else "",
        removable=not row.entries.exists(),
    )


@lead_only
@require_POST
def move_stage(request: HttpRequest, stage_id: int, way: str) -> HttpResponse:
    row = _stage(stage_id)
    actions.move_stage(row, earlier=way == "earlier", by=who(request), now=timezone.now())
    messages.success(request, f"{row} is {way} now.")
    return redirect("office-piece", row.piece_id)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def remove_stage(request: HttpRequest, stage_id: int) -> HttpResponse:
    row = _stage(stage_id)
    return ask_first(
        request,
        lambda: actions.remove_stage(row, by=who(request), now=timezone.now()),
        heading=f"Remove {row} of {row.piece}?",
        lede=f"{row.piece} no longer goes through it.",
        send="Remove this stage",
        back=f"/office/stages/{stage_id}/",
        then=f"/office/pieces/{row.piece_id}/",
        done=f"{row} is removed.",
    )
