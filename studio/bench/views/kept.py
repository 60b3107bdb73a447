"""After logging: what was kept, and taking it back."""

from datetime import timedelta
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe
from django_htmx.middleware import HtmxDetails

from studio.bench import lists, stuck_words, words
from studio.bench.forms import MOST_LETTERS
from studio.bench.sending import person_at, see, sent_signed_out
from studio.front.render import render_part
from studio.front.signin import bench_only
from studio.workshop import actions
from studio.workshop.models import Entry, Photo, PhotoState, Says, Studio
from studio.workshop.photos import picture

LOOKS_BY_ITSELF_FOR = timedelta(minutes=2)  # after that a page left open on a trestle stops asking


@never_cache
@require_safe
@bench_only
def kept(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    told = Entry.objects.select_related("stage__kind", "stage__piece__job", "by")
    entry = get_object_or_404(told.prefetch_related("photos__renditions", "notices__contact"), pk=entry_id)
    now, person, photos = timezone.now(), person_at(request), list(entry.photos.all())
    waiting = any(photo.state == PhotoState.WAITING for photo in photos) and not entry.taken_back_at
    looks = waiting and now - entry.at < LOOKS_BY_ITSELF_FOR
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    if htmx and looks:
        return HttpResponse(status=204)  # nothing new, so nothing is said again to somebody who listens
    shown = [photo for photo in photos if photo.state == PhotoState.DEVELOPED][:1]
    failed = bool(photos) and all(photo.state == PhotoState.UNREADABLE for photo in photos)
    retaken = failed and words.came_out_later(entry)
    can_take_back = actions.can_take_back(entry, person, now)
    context = {
        "entry": entry,
        "stage": entry.stage,
        "mine": entry.by_id == person.pk,
        "at": words.logged_at(entry.at, now),
        "photos": photos,
        "picture": picture(shown[0], f"{entry.stage.piece}, {entry.stage}") if shown else None,
        "photo_sentences": [] if entry.taken_back_at else words.photo_sentences(photos, retaken=retaken),
        "waiting": waiting,
        "looks": looks,
        "can_take_back": can_take_back,
        "then": entry.stage if entry.taken_back_at else lists.next_for(person),
    }
    if entry.says == Says.STUCK:
        context |= stuck_words.about(entry, now)
        return render_part(request, "bench/kept_stuck.html", "bench/_photo_state.html", context)
    context |= {
        "letter_sentences": words.letter_sentences(
            entry,
            retaken=retaken,
            undo_minutes=Studio.objects.get().undo_minutes,
            can_take_back=can_take_back,
            now=now,
        ),
        "ask_for": _ask_for(photos, again=failed and not retaken),
        "entry_id": uuid4(),
        "for_client": entry.for_client,
        "most_letters": MOST_LETTERS,
    }
    return render_part(request, "bench/kept.html", "bench/_photo_state.html", context)


def _ask_for(photos: list[Photo], *, again: bool) -> str:
    if again:
        return _("Take the photo again")
    return _("Add another photo") if photos else _("Add a photo")


@never_cache
@require_POST
@sent_signed_out
@bench_only
def take_back(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    entry = get_object_or_404(Entry, pk=entry_id)
    try:
        actions.take_back(entry, by=person_at(request), now=timezone.now())
    except actions.TooLate as problem:
        messages.error(request, _(str(problem)))
    return see(reverse("bench-kept", args=[entry.pk]))
