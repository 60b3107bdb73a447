"""One thing said at the bench, after it was said: its words, its letters, and taking it back."""

from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.front.signin import lead_only
from studio.office.forms import SentenceForm
from studio.office.saving import form_from, form_page, kept, who
from studio.office.wording import many, on_or_at, sentence
from studio.workshop import actions
from studio.workshop.models import Entry


def _entry(entry_id: UUID) -> Entry:
    return get_object_or_404(Entry.objects.select_related("stage__kind", "stage__piece__job", "by"), pk=entry_id)


@lead_only
@require_http_methods(["GET", "HEAD", "POST"])
def entry(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    """The sentence, which may be changed at any time."""
    row, now = _entry(entry_id), timezone.now()
    form = form_from(SentenceForm, request, sentence=row.sentence, version=row.version)
    back = f"/office/jobs/{row.stage.piece.job_id}/"
    if kept(form, lambda typed: actions.change_words(row, **typed, by=who(request), now=now)):
        messages.success(request, f"The words about {row.stage} of {row.stage.piece} are kept as you wrote them.")
        return redirect(back)
    heading = f"The words about {row.stage} of {row.stage.piece}"
    return form_page(request, form, heading=heading, lede=_read_by(row, now), send="Keep the words", back=back)


def _read_by(row: Entry, now: datetime) -> str:
    logged = f"Logged by {row.by} {on_or_at(row.at, now)}."
    if row.taken_back_at:
        return f"{logged} It was taken back, so no client reads them."
    if not row.for_client:
        return f"{logged} They are for us only: the client reads the studio's own sentence."
    if not row.released_at:
        return f"{logged} The client reads them once you show a photo of it or send word."
    return f"{logged} The client reads them on their page. A letter that has gone stays as it is."


@lead_only
@require_POST
def take_back(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    row = actions.take_back(_entry(entry_id), by=who(request), now=timezone.now())
    messages.success(request, f"{sentence(str(row.stage))} of {row.stage.piece} is not done any more.")
    return redirect("office-stage", row.stage_id)


@lead_only
@require_POST
def seen(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    actions.mark_seen(_entry(entry_id), by=who(request), now=timezone.now())
    messages.success(request, "Seen. It stands in the history of the job.")
    return redirect("office-waiting")


@lead_only
@require_POST
def send_word(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    try:
        count = actions.send_word(_entry(entry_id), by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
    else:
        leave = f"{many(count, 'letter')} {'leaves' if count == 1 else 'leave'} soon. Until then it can be taken back."
        messages.success(request, sentence(leave) if count else "No letter was left to send.")
    return redirect("office-photos")


@lead_only
@require_POST
def say_nothing(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    gone = actions.say_nothing(_entry(entry_id), by=who(request), now=timezone.now())
    had = f" {sentence(many(gone, 'letter'))} had left already." if gone else ""
    messages.success(request, f"Nobody is told of it.{had}")
    return redirect("office-photos")
