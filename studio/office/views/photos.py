"""Looking at photos before a client does."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.front.render import render_part
from studio.front.signin import lead_only, safe_next
from studio.office import looks
from studio.office.forms import SentenceForm
from studio.office.paging import page_by_key
from studio.office.saving import who
from studio.office.wording import listed, many, number, on_or_at, sentence
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
    return f"{_wait(Photo.objects.to_look_at().count())}."


def _wait(count: int) -> str:
    return sentence(f"{many(count, 'photo')} {'waits' if count == 1 else 'wait'} for your look")


def _entry(entry_id: UUID) -> Entry:
    return get_object_or_404(Entry.objects.select_related("stage__kind", "stage__piece__job", "by"), pk=entry_id)


def _photos_of(**which: object) -> list[Photo]:
    return list(
        Photo.objects.filter(**which, state=PhotoState.DEVELOPED).select_related(
            "entry__stage__piece__job", "stage__piece__job"
        )
    )


def _named(request: HttpRequest, entry: Entry, field: str = "photo") -> list[Photo]:
    """The photos that stood on the page which sent the form: nobody has looked at any other."""
    named = {int(key) for key in request.POST.getlist(field) if key.isdecimal()}
    return [photo for photo in _photos_of(entry=entry) if photo.pk in named]


def _none_named(request: HttpRequest, entry: Entry) -> HttpResponse:
    waits = _wait(Photo.objects.to_look_at().filter(entry=entry).count())
    shown = Photo.objects.shown().filter(entry=entry).count()
    sees = f"the client sees {number(shown) if shown else 'none'}"
    stands = "It was taken back." if entry.taken_back_at else f"{waits} here, and {sees}."
    words = f"Nothing was changed, because no photo was chosen. {stands}"
    return _answer(request, entry, words, bad=True, typed=request.POST.get("sentence"))


@lead_only
@require_POST
def show(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    """The photos that the form names go to the client, with the sentence as it stands in the form."""
    entry, form, typed = _entry(entry_id), SentenceForm(request.POST), request.POST.get("sentence")
    if not form.is_valid():
        return _answer(request, entry, str(next(iter(form.errors.values()))[0]), bad=True, typed=typed)
    if not (found := _named(request, entry)):
        return _none_named(request, entry)
    words = None if typed is None else form.cleaned_data["sentence"]
    try:
        count = actions.release_photos(found, sentence=words, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        return _answer(request, entry, str(refusal), bad=True, typed=typed)
    said = f"The client sees {entry.stage} of {entry.stage.piece} {'now' if count else 'already'}."
    return _answer(request, entry, said, again=found)


@lead_only
@require_POST
def keep_all(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    entry = _entry(entry_id)
    if not (found := _named(request, entry)):
        return _none_named(request, entry)
    actions.keep_for_us(found, by=who(request), now=timezone.now())
    words = f"Kept for us: {entry.stage} of {entry.stage.piece}."
    return _answer(request, entry, words, again=found, typed=request.POST.get("sentence"))


@lead_only
@require_POST
def look_again(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    """Undoes ``show`` and ``keep_all``, and says so where the group stood."""
    entry = _entry(entry_id)
    if not (found := _named(request, entry, "again")):
        return _none_named(request, entry)
    actions.look_again(found, by=who(request), now=timezone.now())
    return _answer(request, entry, "Taken back: it waits for your look.", typed=request.POST.get("sentence"))


@lead_only
@require_POST
def show_one(request: HttpRequest, photo_id: int) -> HttpResponse:
    entry = _entry(get_object_or_404(Photo, pk=photo_id).entry_id)
    if not (found := _photos_of(pk=photo_id)):
        return _answer(request, entry, "That photo is not developed, so there is nothing to show.", bad=True)
    try:
        count = actions.release_photos(found, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        return _answer(request, entry, str(refusal), bad=True)
    return _answer(request, entry, f"The client sees that photo {'now' if count else 'already'}.")


@lead_only
@require_POST
def keep_one(request: HttpRequest, photo_id: int) -> HttpResponse:
    entry, typed = _entry(get_object_or_404(Photo, pk=photo_id).entry_id), request.POST.get("sentence")
    if not (found := _photos_of(pk=photo_id)):
        return _answer(request, entry, "That photo is not developed yet. Keep it when it is.", bad=True, typed=typed)
    actions.keep_for_us(found, by=who(request), now=timezone.now())
    return _answer(request, entry, "That photo is kept for us.", again=found, typed=typed)


def _answer(
    request: HttpRequest,
    entry: Entry,
    words: str,
    *,
    bad: bool = False,
    again: Sequence[Photo] = (),
    typed: str | None = None,
) -> HttpResponse:
    """What now stands in place of the group; or, from a page that says where it is, back there with the words on top.

    ``again`` are the photos that can be put back to look at; ``typed`` is the sentence where it is not kept yet.
    """
    now = timezone.now()
    words += _about_letters(entry, now)
    if "back" in request.POST:
        (messages.error if bad else messages.success)(request, words)
        return redirect(safe_next(request, "office-photos", field="back"))
    left = looks.to_look_at().filter(pk=entry.pk).first()
    context = {
        "entry": entry,
        "words": words,
        "bad": bad,
        "again": again,
        "typed": typed,
        "look": looks.look(left, typed) if left else None,
        "now": now,
        "heading": _heading(),
    }
    return render_part(request, "office/look.html", "office/_look_answer.html", context, status=422 if bad else 200)


def _about_letters(entry: Entry, now: datetime) -> str:
    going = Notice.objects.filter(entry=entry, state=NoticeState.GOING).select_related("contact").order_by("pk")
    found = list(going)
    if not found or found[0].leaves_at is None:
        return ""
    to = listed([notice.contact.name for notice in found])
    return f" The letter to {to} leaves {on_or_at(found[0].leaves_at, now)}."
