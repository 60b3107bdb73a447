"""When the shop is open, and the days when it is shut."""

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office.day_forms import ClosureForm, WeekForm, of_week
from studio.office.paging import page_by_key
from studio.office.saving import form_from, form_page, kept, who
from studio.office.spans import told_week
from studio.office.wording import short_day, told_days
from studio.workshop import actions
from studio.workshop.models import Closure, Person, Studio
from studio.workshop.public_days import NoSuchRegion, countries, public_days, regions


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def hours(request: HttpRequest) -> HttpResponse:
    row = get_object_or_404(Studio)
    form = form_from(WeekForm, request, version=row.version, **of_week(row.hours))
    by, now = who(request), timezone.now()
    if kept(form, lambda typed: actions.change_hours(hours=form.week(), version=typed["version"], by=by, now=now)):
        messages.success(request, f"The shop is open {told_week(form.week())} now.")
        return redirect("office-hours")
    return form_page(
        request,
        form,
        heading=f"The shop is open {told_week(row.hours)}",
        send="Keep these hours",
        back="/office/settings/",
        template="office/hours.html",
        others=Person.objects.filter(is_active=True, in_plan=True).exclude(hours=None),
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def closures(request: HttpRequest) -> HttpResponse:
    form, now = form_from(ClosureForm, request), timezone.now()

    def add(typed: dict[str, object]) -> None:
        about = {name: typed[name] for name in ("first_day", "last_day", "name")}
        actions.add_closure(**about, by=who(request), now=now)  # type: ignore[arg-type]

    if kept(form, add):
        first, last = form.cleaned_data["first_day"], form.cleaned_data["last_day"]
        days = told_days(first, last, timezone.localdate(now))
        messages.success(request, f"The shop is shut {days}: {form.cleaned_data['name']}.")
        return redirect("office-closures")
    rows, today = Closure.objects.all(), timezone.localdate(now)
    coming = page_by_key(
        rows.filter(last_day__gte=today), request.GET.get("after", ""), by="first_day", newest_first=False
    )
    gone = page_by_key(rows.filter(last_day__lt=today), request.GET.get("before", ""), by="first_day")
    return form_page(
        request,
        form,
        heading=_next_shut(today),
        send="Shut the shop then",
        back="/office/settings/",
        template="office/closures.html",
        today=today,
        coming=coming,
        gone=gone,
    )


def _next_shut(today: date) -> str:
    closure = Closure.objects.filter(last_day__gte=today).order_by("first_day", "pk").first()
    if not closure:
        return "No closed days are coming"
    if closure.first_day <= today:
        return f"The shop is shut today: {closure}"
    return f"The shop is next shut on {short_day(closure.first_day, today)}: {closure}"


@lead_only
@require_POST
def remove_closure(request: HttpRequest, closure_id: int) -> HttpResponse:
    row = get_object_or_404(Closure, pk=closure_id)
    actions.remove_closure(row, by=who(request), now=timezone.now())
    messages.success(request, f"{row} is no longer a closed day.")
    return redirect("office-closures")


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def public(request: HttpRequest) -> HttpResponse:
    """First the country, then its region where it has any, then the days; only the last button puts them in."""
    studio, now, trouble = get_object_or_404(Studio), timezone.now(), ""
    asked = request.POST if request.method == "POST" else request.GET
    country = asked.get("country", studio.country)
    region = asked.get("region", studio.region)
    today = timezone.localdate(now)
    known: list[tuple[str, str]] = []
    found: list[tuple[date, str]] = []
    try:
        if request.method == "POST":
            count = actions.import_public_days(country=country, region=region, by=who(request), now=now, today=today)
            messages.success(request, f"{count} public holidays are there now, for {today.year} to {today.year + 2}.")
            return redirect("office-closures")
        if country:
            known = regions(country)
            # A region that is left over from the country before means all of this one.
            region = region if region in dict(known) else ""
            found = public_days(country, region, [today.year, today.year + 1, today.year + 2])
    except (actions.Refused, NoSuchRegion) as problem:
        trouble = str(problem)
    context = {
        "heading": "Public holidays",
        "trouble": trouble,
        "countries": sorted(countries(), key=lambda one: one[0] != studio.country),
        "country": country,
        "regions": known,
        "region": region,
        "found": found,
    }
    return render(request, "office/public_days.html", context, status=422 if trouble else 200)
