"""Kinds of work, each with what a new stage of it begins from."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from studio.front.signin import lead_only
from studio.office.day_forms import SETS, KindForm
from studio.office.saving import ask_first, form_from, form_page, kept, who
from studio.office.spans import told_hours
from studio.office.wording import many, sentence
from studio.workshop import actions
from studio.workshop.models import Stage, StageKind

_FIELDS = ("name", "sentence", "work_min", "crew", "place", "cure_min", "cure_holds", "meets")


@lead_only
@require_safe
def kinds(request: HttpRequest) -> HttpResponse:
    lines = [(kind, _told(kind)) for kind in StageKind.objects.select_related("place")]
    return render(request, "office/kinds.html", {"lines": lines, "sets": SETS})


def _told(kind: StageKind) -> str:
    """What a new stage of it begins from, in words."""
    crew = sentence(many(kind.crew, "person", "people")) + (f", {kind.place}" if kind.place else "")
    each = " each" if kind.crew > 1 else ""
    told = [f"{crew}: {told_hours(kind.work_min)}{each} for a piece of one metre."]
    if kind.cure_min:
        stays = ", and its place stays taken meanwhile" if kind.cure_holds else ""
        told.append(f"Then it sets or dries for {told_hours(kind.cure_min)}{stays}.")
    if kind.meets:
        told.append("The pieces of a job meet here.")
    return " ".join(told)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_kind(request: HttpRequest) -> HttpResponse:
    form = form_from(KindForm, request, crew=1)

    def add(typed: dict[str, object]) -> None:
        about = {name: typed[name] for name in _FIELDS}
        actions.add_kind(**about, by=who(request), now=timezone.now())  # type: ignore[arg-type]

    if kept(form, add):
        messages.success(request, f"{sentence(form.cleaned_data['name'])} is added.")
        return redirect("office-kinds")
    return form_page(request, form, heading="A new kind of work", send="Add this kind", back="/office/kinds/")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def kind(request: HttpRequest, kind_id: int) -> HttpResponse:
    row = get_object_or_404(StageKind, pk=kind_id)
    form = form_from(KindForm, request, **{name: getattr(row, name) for name in (*_FIELDS, "version")})
    if kept(form, lambda typed: actions.change_kind(row, **typed, by=who(request), now=timezone.now())):
        messages.success(request, f"{sentence(form.cleaned_data['name'])} is kept as you wrote it.")
        return redirect("office-kinds")
    return form_page(
        request,
        form,
        heading=sentence(row.name),
        lede="New stages begin from this. Those that are set out already keep what they have.",
        send="Keep it",
        back="/office/kinds/",
        template="office/kind.html",
        kind=row,
        unused=not row.key and not Stage.objects.filter(kind=row).exists(),
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def remove_kind(request: HttpRequest, kind_id: int) -> HttpResponse:
    row = get_object_or_404(StageKind, pk=kind_id)
    return ask_first(
        request,
        lambda: actions.remove_kind(row, by=who(request), now=timezone.now()),
        heading=f"Remove {row}?",
        lede="No stage is of this kind, and none can be after.",
        send="Remove this kind",
        back=f"/office/kinds/{kind_id}/",
        then="/office/kinds/",
        done=f"{sentence(row.name)} is removed.",
    )
