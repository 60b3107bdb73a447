"""What is stuck: who said so and what of, and the lead's answer."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from studio.front.signin import lead_only
from studio.office import stuck_lines
from studio.office.forms import OfficeForm, long_words
from studio.office.paging import page_by_key
from studio.office.saving import form_from, who
from studio.office.waiting import of_piece
from studio.office.wording import many, sentence
from studio.workshop import actions
from studio.workshop.models import Stuck


class AnswerForm(OfficeForm):
    answer = long_words(
        "What you tell them", 300, "It stands at the top of their page until the stage is done.", required=False
    )


@lead_only
@require_safe
def stuck_stages(request: HttpRequest) -> HttpResponse:
    now, standing = timezone.now(), Stuck.objects.standing()
    count = standing.count()
    answered = stuck_lines.rows().filter(answered_at__isnull=False, entry__taken_back_at=None)
    waiting = stuck_lines.rows().filter(pk__in=standing.values("pk"))
    page = page_by_key(waiting, request.GET.get("after", ""), by="at", newest_first=False)
    past = page_by_key(answered, request.GET.get("past", ""), by="answered_at")
    stages = f"{many(count, 'stage')} {'is' if count == 1 else 'are'} stuck."
    context = {
        "now": now,
        "heading": sentence(stages) if count else "Nothing is stuck.",
        "waiting": [(row, of_piece(row.stage), stuck_lines.needs(row)) for row in page.rows],
        "page": page,
        "answered": [
            (row, of_piece(row.stage), stuck_lines.needs(row), stuck_lines.ended(row, now)) for row in past.rows
        ],
        "past": past,
    }
    return render(request, "office/stuck_stages.html", context)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def stuck(request: HttpRequest, stuck_id: int) -> HttpResponse:
    """The answer may be empty. One that comes after somebody else's is not kept; it is said so, and stays in the form."""
    row, form, now, status = _row(stuck_id), form_from(AnswerForm, request), timezone.now(), 200
    if request.method == "POST" and form.is_valid():
        answer = form.cleaned_data["answer"]
        if stuck_lines.stands(row):
            actions.answer_stuck(row, answer=answer, by=who(request), now=now)
            row = _row(stuck_id)
        mine = row.answered_by_id == who(request).pk and row.answer == answer
        if mine or not answer:
            read = f"{row.entry.by} reads it at the bench: “{answer}”" if answer else stuck_lines.ended(row, now)
            messages.success(request, f"{of_piece(row.stage)} is not stuck any more. {read}")
            return redirect("office-stuck-stages")
        status = 409
    elif form.is_bound:
        status = 422
    ended = stuck_lines.ended(row, now)
    context = {
        "now": now,
        "row": row,
        "heading": stuck_lines.heading(row, ended),
        "lede": f"{stuck_lines.who_said(row, now)} {ended or 'Until it can go on, the plan puts it off from day to day.'}",
        "said": stuck_lines.said(row),
        "stands": stuck_lines.stands(row),
        "form": form,
        "too_late": form.cleaned_data["answer"] if status == 409 else "",
    }
    return render(request, "office/stuck.html", context, status=status)


def _row(stuck_id: int) -> Stuck:
    return get_object_or_404(stuck_lines.rows(), pk=stuck_id)
