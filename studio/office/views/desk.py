"""What waits for the lead, failed, or is unknown."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.front.signin import lead_only, safe_next
from studio.office import looks, waiting
from studio.office.saving import who
from studio.office.wording import listed, many, sentence
from studio.workshop import actions
from studio.workshop.models import Errand, Photo

FEW = 3


@lead_only
@require_safe
def desk(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    photos, taken_back, failed = (
        Photo.objects.to_look_at().count(),
        waiting.taken_back_too_late(now),
        waiting.failed(now),
    )
    owed, spoilt = looks.done_without_photo().count(), waiting.spoilt(now)
    context = {
        "now": now,
        "heading": _heading(photos, owed, len(spoilt), len(taken_back), *_counted(failed)),
        "lede": waiting.underway(now),
        "photos": photos,
        "first_looks": looks.first(FEW),
        "owed": sentence(f"{many(owed, 'stage')} {'is' if owed == 1 else 'are'} done without a photo to show."),
        "any_owed": owed,
        "taken_back": taken_back,
        "failed": failed,
        "struggling": waiting.struggling(now),
        "spoilt": spoilt,
    }
    return render(request, "office/desk.html", context)


def _counted(lines: list[waiting.Line]) -> tuple[int, int]:
    unknown = sum(line.unknown for line in lines)
    return len([line for line in lines if line.errand]) - unknown, unknown


def _heading(photos: int, owed: int, spoilt: int, taken_back: int, failed: int, unknown: int) -> str:
    """One sentence, the most pressing first."""
    parts = waiting.ended(failed, unknown)
    if taken_back:
        parts.append(f"{many(taken_back, 'stage')} {'was' if taken_back == 1 else 'were'} taken back")
    if photos:
        parts.append(f"{many(photos, 'photo')} {'waits' if photos == 1 else 'wait'} for your look")
    if spoilt:
        parts.append(f"{many(spoilt, 'photo')} did not come out")
    if owed:
        parts.append(f"{many(owed, 'stage')} {'waits' if owed == 1 else 'wait'} for your word")
    return sentence(listed(parts)) + "." if parts else "Nothing waits for you."


@lead_only
@require_POST
def try_again(request: HttpRequest, errand_id: UUID) -> HttpResponse:
    get_object_or_404(Errand, pk=errand_id)
    try:
        actions.try_again(errand_id, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "It is being tried again.")
    return redirect(safe_next(request, "office-waiting", field="back"))


@lead_only
@require_POST
def leave(request: HttpRequest, errand_id: UUID) -> HttpResponse:
    get_object_or_404(Errand, pk=errand_id)
    try:
        actions.leave_errand(errand_id, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "It is put away, and not tried again.")
    return redirect(safe_next(request, "office-waiting", field="back"))
