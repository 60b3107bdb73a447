"""The studio's places, and what is to be done at each."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from studio.front.signin import lead_only
from studio.office.day_forms import PlaceForm
from studio.office.paging import page_by_key
from studio.office.saving import ask_first, form_from, form_page, kept, who
from studio.office.wording import listed, many, sentence
from studio.workshop import actions
from studio.workshop.models import Place, Stage, StageKind


@lead_only
@require_safe
def places(request: HttpRequest) -> HttpResponse:
    live = Q(stages__done_at=None, stages__piece__job__closed_on=None)
    rows = Place.objects.annotate(stages_there=Count("stages", filter=live))
    page = page_by_key(rows, request.GET.get("after", ""), by="position", newest_first=False)
    lines = [(row, _told(row, getattr(row, "stages_there", 0))) for row in page.rows]
    return render(request, "office/places.html", {"lines": lines, "page": page})


def _told(place: Place, stages: int) -> str:
    room = sentence(f"{many(place.capacity, 'piece')} at once.")
    return f"{room} {sentence(many(stages, 'stage'))} still to be done there."


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_place(request: HttpRequest) -> HttpResponse:
    form = form_from(PlaceForm, request, capacity=1)

    def add(typed: dict[str, object]) -> None:
        about = {name: typed[name] for name in ("name", "capacity")}
        actions.add_place(**about, by=who(request), now=timezone.now())  # type: ignore[arg-type]

    if kept(form, add):
        messages.success(
            request, f"{sentence(form.cleaned_data['name'])} is added. Choose it at the stages done there."
        )
        return redirect("office-places")
    return form_page(request, form, heading="A new place", send="Add this place", back="/office/places/")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def place(request: HttpRequest, place_id: int) -> HttpResponse:
    """``?room=more`` fills in one more than it takes."""
    row = get_object_or_404(Place, pk=place_id)
    capacity = row.capacity + (request.GET.get("room") == "more")
    form = form_from(PlaceForm, request, name=row.name, capacity=capacity, version=row.version)
    if kept(form, lambda typed: actions.change_place(row, **typed, by=who(request), now=timezone.now())):
        messages.success(request, f"{sentence(form.cleaned_data['name'])} is kept as you wrote it.")
        return redirect("office-places")
    there = Stage.objects.told().filter(place=row, done_at=None, piece__job__closed_on=None)
    return form_page(
        request,
        form,
        heading=sentence(row.name),
        send="Keep it",
        back="/office/places/",
        template="office/place.html",
        place=row,
        page=page_by_key(there, request.GET.get("after", ""), by="id", newest_first=False),
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def remove_place(request: HttpRequest, place_id: int) -> HttpResponse:
    row = get_object_or_404(Place, pk=place_id)
    usual = [str(kind) for kind in StageKind.objects.filter(place=row)]
    after = f"{sentence(listed(usual))} will name no place until you choose another one." if usual else ""
    return ask_first(
        request,
        lambda: actions.remove_place(row, by=who(request), now=timezone.now()),
        heading=f"Remove {row}?",
        lede=after or "No kind of work names it.",
        send="Remove this place",
        back=f"/office/places/{place_id}/",
        then="/office/places/",
        done=f"{sentence(row.name)} is removed. {after}".strip(),
    )
