"""What somebody does and when: their kinds of work, their hours, the days when they are away or stay longer."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office.day_forms import AwayForm, LongerForm, WorkForm, of_week
from studio.office.paging import page_by_key
from studio.office.saving import form_from, form_page, from_address, kept, who
from studio.office.spans import told_week
from studio.office.wording import short_day, told_days
from studio.workshop import actions
from studio.workshop.models import Absence, Overtime, Person, Studio, Week


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def work(request: HttpRequest, person_id: int) -> HttpResponse:
    row, shop = get_object_or_404(Person, pk=person_id), get_object_or_404(Studio).hours
    form = form_from(WorkForm, request, **_as_it_stands(row, shop))

    def change(typed: dict[str, object]) -> None:
        about = {name: typed[name] for name in ("in_plan", "skills", "version")}
        actions.change_work(row, **about, hours=form.hours(), by=who(request), now=timezone.now())  # type: ignore[arg-type]

    if kept(form, change):
        messages.success(request, f"{row}'s work is kept as you wrote it.")
        return redirect("office-work", person_id)
    today = timezone.localdate()
    away, longer = row.absences.filter(last_day__gte=today), row.overtime.filter(day__gte=today)
    return form_page(
        request,
        form,
        heading=f"{row}'s work",
        lede=_in_words(row, shop),
        send="Keep it",
        back=f"/office/people/{person_id}/",
        template="office/work.html",
        somebody=row,
        today=today,
        away=page_by_key(away, request.GET.get("away", ""), by="first_day", newest_first=False),
        longer=page_by_key(longer, request.GET.get("longer", ""), by="day", newest_first=False),
        away_form=AwayForm(),
        longer_form=LongerForm(initial=from_address(LongerForm, request, "first_day", "last_day", "starts", "ends")),
    )


def _as_it_stands(somebody: Person, shop: Week) -> dict[str, object]:
    """Whoever works the shop's hours finds them in the lines, to begin from."""
    return {
        "version": somebody.version,
        "in_plan": somebody.in_plan,
        "skills": list(somebody.skills.all()),
        "shop_hours": somebody.hours is None,
        **of_week(shop if somebody.hours is None else somebody.hours),
    }


def _in_words(somebody: Person, shop: Week) -> str:
    if not (somebody.in_plan and somebody.is_active):
        return f"The plan gives {somebody} no work."
    if somebody.hours is None:
        return f"The plan gives {somebody} work in the shop's hours: {told_week(shop)}."
    return f"The plan gives {somebody} work in hours of their own: {told_week(somebody.hours)}."


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_absence(request: HttpRequest, person_id: int) -> HttpResponse:
    row, form = get_object_or_404(Person, pk=person_id), form_from(AwayForm, request)

    def add(typed: dict[str, object]) -> None:
        days = {name: typed[name] for name in ("first_day", "last_day")}
        actions.add_absence(row, **days, by=who(request), now=timezone.now())  # type: ignore[arg-type]

    if kept(form, add):
        days = told_days(form.cleaned_data["first_day"], form.cleaned_data["last_day"], timezone.localdate())
        messages.success(request, f"{row} is away {days}.")
        return redirect("office-work", person_id)
    back = f"/office/people/{person_id}/days/"
    return form_page(request, form, heading=f"Days when {row} is away", send="Note these days", back=back)


@lead_only
@require_POST
def remove_absence(request: HttpRequest, absence_id: int) -> HttpResponse:
    row = get_object_or_404(Absence.objects.select_related("person"), pk=absence_id)
    actions.remove_absence(row, by=who(request), now=timezone.now())
    messages.success(request, f"{row.person} is there after all from {short_day(row.first_day, timezone.localdate())}.")
    return redirect("office-work", row.person_id)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def new_overtime(request: HttpRequest, person_id: int) -> HttpResponse:
    row, form = get_object_or_404(Person, pk=person_id), form_from(LongerForm, request)

    def add(typed: dict[str, object]) -> None:
        hours = {name: typed[name] for name in ("first_day", "last_day", "starts", "ends")}
        actions.add_overtime(row, **hours, by=who(request), now=timezone.now())  # type: ignore[arg-type]

    if kept(form, add):
        hours = form.cleaned_data
        days = told_days(hours["first_day"], hours["last_day"], timezone.localdate())
        messages.success(request, f"{row} works {days}, from {hours['starts']:%H:%M} to {hours['ends']:%H:%M} too.")
        return redirect("office-work", person_id)
    back = f"/office/people/{person_id}/days/"
    return form_page(request, form, heading=f"Longer days of {row}", send="Add these hours", back=back)


@lead_only
@require_POST
def remove_overtime(request: HttpRequest, overtime_id: int) -> HttpResponse:
    row = get_object_or_404(Overtime.objects.select_related("person"), pk=overtime_id)
    actions.remove_overtime(row, by=who(request), now=timezone.now())
    messages.success(request, f"{row.person} does not work longer on {short_day(row.day, timezone.localdate())}.")
    return redirect("office-work", row.person_id)
