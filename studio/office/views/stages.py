"""One stage: its hours, place and order, and what becomes of it."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office import order
from studio.office.job_forms import FinishForm, StageForm
from studio.office.saving import ask_first, form_page, from_address, kept, who
from studio.office.spans import told_hours
from studio.office.stage_lines import lines_of
from studio.office.waiting import what_taking_back_means
from studio.office.wording import on_or_at, sentence, short_day, when
from studio.workshop import actions, planning
from studio.workshop.models import Entry, Says, Stage

_FIELDS = (
    "version",
    "kind",
    "title",
    "maker",
    "work_min",
    "left_min",
    "crew",
    "place",
    "cure_min",
    "cure_holds",
    "due_on",
)


def _stage(stage_id: int) -> Stage:
    return get_object_or_404(
        Stage.objects.select_related("kind", "piece__job", "maker", "place", "done_by"), pk=stage_id
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def stage(request: HttpRequest, stage_id: int) -> HttpResponse:
    row, now = _stage(stage_id), timezone.now()
    all_of_it = order.order_of(row.piece.job_id)
    form = StageForm(
        request.POST if request.method == "POST" else None,
        initial={name: getattr(row, name) for name in _FIELDS if name != "left_min"}
        | {"follows": all_of_it.chosen.get(stage_id, ())}
        | from_address(StageForm, request, "due_on"),
        others=[other for other in all_of_it.stages.values() if other.pk != stage_id],
        said=f"{sentence(told_hours(row.left_min or 0))}, as said {on_or_at(row.left_said_at, now)}. Empty: that stands."
        if row.left_said_at
        else "",
    )
    if kept(form, lambda typed: actions.change_stage(row, **typed, by=who(request), now=now)):
        messages.success(request, "The stage is kept as you wrote it.")
        return redirect("office-piece", row.piece_id)
    told = None if row.piece.job.closed_on else planning.newest()
    lines = lines_of(row.piece.job, told, now).get(row.piece_id, ())
    line = next(line for line in lines if line.stage.pk == stage_id)
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
        lede=f"{sentence(line.state)}: {line.words}.",
        line=line,
        follows=order.told(all_of_it, row),
        now=now,
        entry=entry,
        logged=_logged(entry, row, now) if entry else "",
        letters=what_taking_back_means(entry, now) if entry else "",
        finish_form=None if row.done_at or row.piece.job.closed_on else _finish_form(row, now),
        removable=not row.entries.exists(),
    )


def _logged(entry: Entry, row: Stage, now: datetime) -> str:
    """Who logged it; and whose work it was and when it ended, where that is not the same."""
    said = f"Logged as done by {entry.by}, {when(entry.at, now)}."
    if row.done_at and (row.done_by_id, row.done_at) != (entry.by_id, entry.at):
        said += f" {row.done_by} finished it {on_or_at(row.done_at, now)}."
    return said


def _finish_form(row: Stage, now: datetime, data: Any = None) -> FinishForm:
    at = timezone.localtime(now)
    whose = row.maker if row.maker and row.maker.is_active else None
    return FinishForm(data, initial={"entry": uuid4(), "whose": whose, "day": at.date(), "hour": at.time()})


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def finish(request: HttpRequest, stage_id: int) -> HttpResponse:
    """For somebody who has not logged it."""
    row, now = _stage(stage_id), timezone.now()
    form = _finish_form(row, now, request.POST if request.method == "POST" else None)
    logged: list[Entry] = []

    def act(typed: dict[str, Any]) -> None:
        at = timezone.make_aware(datetime.combine(typed["day"], typed["hour"]))
        whose, by = typed["whose"], who(request)
        logged.append(actions.finish_for(row, whose=whose, done_at=at, entry_id=typed["entry"], by=by, now=now))

    if kept(form, act):
        if logged[0].pk == form.cleaned_data["entry"]:
            day, hour = short_day(form.cleaned_data["day"], timezone.localdate()), f"{form.cleaned_data['hour']:%H:%M}"
            messages.success(request, f"Logged as done for {form.cleaned_data['whose']}, {day} {hour}.")
        else:
            messages.error(request, f"{logged[0].by} had logged it already, {when(logged[0].at, now)}. That stays.")
        return redirect("office-piece", row.piece_id)
    return form_page(
        request,
        form,
        heading=f"{row.piece}: {row} is finished",
        send="It is done, for them",
        back=f"/office/stages/{stage_id}/",
    )


@lead_only
@require_POST
def move_stage(request: HttpRequest, stage_id: int, way: str) -> HttpResponse:
    row = _stage(stage_id)
    actions.move_stage(row, earlier=way == "earlier", by=who(request), now=timezone.now())
    messages.success(request, f"{sentence(str(row))} is {way} now.")
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
