"""Looking at photos before a client does."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from studio.front.signin import lead_only
from studio.office import looks
from studio.office.forms import SentenceForm
from studio.office.paging import page_by_key
from studio.office.saving import who
from studio.office.wording import listed, many, on_or_at, sentence
from studio.workshop import actions
from studio.workshop.models import Entry, Notice, NoticeState, Photo, PhotoState


@lead_only
@require_safe
def photos(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    page = page_by_key(looks.to_look_at(), request.GET.get("after", ""), by="at", newest_first=False)
    silent = page_by_key(looks.done_without_photo(), request.GET.get("silent", ""), by="at", newest_first=False)
    context = {
        "now": now,
        "heading": _heading(),
        "looks": [looks.look(entry) for entry in page.rows],
        "page": page,
        "silent": silent,
    }
    return render(request, "office/photos.html", context)


def _heading() -> str:
    count = Photo.objects.to_look_at().count()
    return sentence(f"{many(count, 'photo')} {'waits' if count == 1 else 'wait'} for your look.")


def _entry(entry_id: UUID) -> Entry:
    return get_object_or_404(Entry.objects.select_related("stage__kind", "stage__piece__job", "by"), pk=entry_id)


def _photos_of(**which: object) -> list[Photo]:
    return list(
        Photo.objects.filter(**which, state=PhotoState.DEVELOPED).select_related(
            "entry__stage__piece__job", "stage__piece__job"
        )
    )


def _meant(request: HttpRequest, entry: Entry) -> list[Photo]:
    """Those that wait for the lead; or, to undo what was just done, those that the form names."""
    named = {int(key) for key in request.POST.getlist("photo") if key.isdecimal()}
    return [
        photo
        for photo in _photos_of(entry=entry)
        if (photo.pk in named if named else photo.for_client and not photo.released_at)
    ]


@lead_only
@require_POST
def show(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    """All photos of an entry that wait go to the client, with the sentence as it stands in the form."""
    entry, form = _entry(entry_id), SentenceForm(request.POST)
    if not form.is_valid():
        return _answer(request, entry, str(form.errors["sentence"][0]), bad=True, typed=request.POST.get("sentence"))
    words = form.cleaned_data["sentence"] if "sentence" in request.POST else None
    found = _meant(request, entry)
    try:
        if found:
            actions.release_photos(found, sentence=words, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        return _answer(request, entry, str(refusal), bad=True)
    return _answer(
        request, entry, f"The client sees {entry.stage} of {entry.stage.piece} now.", undo="office-keep", changed=found
    )


@lead_only
@require_POST
def keep_all(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    entry = _entry(entry_id)
    found = _meant(request, entry)
    actions.keep_for_us(found, by=who(request), now=timezone.now())
    words = f"Kept for us: {entry.stage} of {entry.stage.piece}."
    return _answer(request, entry, words, undo="office-show", changed=found)


@lead_only
@require_POST
def show_one(request: HttpRequest, photo_id: int) -> HttpResponse:
    photo = get_object_or_404(Photo, pk=photo_id)
    entry = _entry(photo.entry_id)
    try:
        actions.release_photos(_photos_of(pk=photo_id), by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        return _answer(request, entry, str(refusal), bad=True)
    return _answer(request, entry, "The client sees that photo now.")


@lead_only
@require_POST
def keep_one(request: HttpRequest, photo_id: int) -> HttpResponse:
    photo = get_object_or_404(Photo, pk=photo_id)
    actions.keep_for_us(_photos_of(pk=photo_id), by=who(request), now=timezone.now())
    return _answer(request, _entry(photo.entry_id), "That photo is kept for us.", typed=request.POST.get("sentence"))


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


def _answer(
    request: HttpRequest,
    entry: Entry,
    words: str,
    *,
    bad: bool = False,
    undo: str = "",
    changed: Sequence[Photo] = (),
    typed: str | None = None,
) -> HttpResponse:
    """For htmx what now stands in place of the group; else back to where the button was, with the words on top.

    ``undo`` names the address that takes back what was done to the photos ``changed``.
    """
    now = timezone.now()
    words += _about_letters(entry, now)
    if not getattr(request, "htmx", None):
        (messages.error if bad else messages.success)(request, words)
        back = request.POST.get("back", "")
        here = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
        return redirect(back if here else "office-photos")
    left = looks.to_look_at().filter(pk=entry.pk).first()
    look = looks.look(left, typed) if left else None
    context = {
        "entry": entry,
        "words": words,
        "bad": bad,
        "undo": undo,
        "changed": changed,
        "look": look,
        "now": now,
        "heading": _heading(),
    }
    return render(request, "office/_look_answer.html", context, status=422 if bad else 200)


def _about_letters(entry: Entry, now: datetime) -> str:
    going = Notice.objects.filter(entry=entry, state=NoticeState.GOING).select_related("contact").order_by("pk")
    found = list(going)
    if not found or found[0].leaves_at is None:
        return ""
    to = listed([notice.contact.name for notice in found])
    return f" The letter to {to} leaves {on_or_at(found[0].leaves_at, now)}."
