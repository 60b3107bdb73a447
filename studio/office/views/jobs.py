"""Jobs: all of them as tape, and one job on its page."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_safe

from studio.front.render import render_part
from studio.front.signin import lead_only
from studio.office import past, tapes
from studio.office.again import asks_since, no_news
from studio.office.forms import WordsForm
from studio.office.job_forms import JobForm
from studio.office.one_job import job_page, photo_lines, photos_of
from studio.office.paging import page_by_key
from studio.office.saving import form_from, form_page, from_address, kept, who
from studio.office.wall import wall_of
from studio.office.wording import many, sentence
from studio.workshop import actions, planning
from studio.workshop.models import Job, Person

MOST_LETTERS = 80  # of what is searched for


@lead_only
@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    """All of them, or those that have the words of ``q`` in their name, their client's or a piece's."""
    q = " ".join(request.GET.get("q", "").replace("\0", "").split())[:MOST_LETTERS]
    weeks = tapes.by_week(timezone.localdate(), q)
    closed = Job.objects.filter(tapes.with_words(q), closed_on__isnull=False).select_related("client")
    context = {
        "heading": _heading(q, sum(len(week.tapes) for week in weeks), closed.count() if q else 0),
        "q": q,
        "also": urlencode({"q": q}) if q else "",
        "weeks": weeks,
        "closed": page_by_key(closed, request.GET.get("after", ""), by="closed_on"),
    }
    return render(request, "office/jobs.html", context)


def _heading(q: str, going: int, closed: int) -> str:
    if not q:
        return sentence(f"{many(going, 'job')} {'is' if going == 1 else 'are'} going on.")
    if not going + closed:
        return f"No job, client or piece has “{q}” in its name."
    return sentence(f"{many(going + closed, 'job')} with “{q}”.")


@lead_only
@require_safe
def job(request: HttpRequest, job_id: int) -> HttpResponse:
    """While a plan is being drawn the page asks again by itself how the job stands."""
    row = get_object_or_404(Job.objects.select_related("client"), pk=job_id)
    now, stale = timezone.now(), row.closed_on is None and planning.stale()
    if answer := no_news(request, stale=stale, now=now):
        return answer
    context = job_page(row, now) | {"stale": stale, "since": asks_since(request, now)}
    return render_part(request, "office/job.html", "office/_stands.html", context)


@lead_only
@require_safe
def wall(request: HttpRequest, job_id: int) -> HttpResponse:
    """The job's sheet for the wall, to be printed."""
    row, now = get_object_or_404(Job.objects.select_related("client"), pk=job_id), timezone.now()
    return render(
        request, "office/wall.html", {"job": row, "wall": wall_of(row, now), "today": timezone.localdate(now)}
    )


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def change_job(request: HttpRequest, job_id: int) -> HttpResponse:
    row = get_object_or_404(Job, pk=job_id)
    names = ("version", "name", "wanted_day", "wanted_means", "fixed", "van_day", "release", "closed_on")
    as_it_is = {name: getattr(row, name) for name in names}
    form = form_from(JobForm, request, **as_it_is | from_address(JobForm, request, "van_day"))
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
