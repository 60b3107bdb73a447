"""The bench: what is next, done with a photo, and taking it back."""

from datetime import timedelta
from functools import wraps
from typing import Any, ParamSpec, cast
from urllib.parse import urlencode
from uuid import UUID, uuid4, uuid5

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.middleware import HtmxDetails

from studio.bench import lists, words
from studio.bench.forms import MOST_LETTERS, Log
from studio.front.render import render_part
from studio.front.signin import View, bench_only
from studio.workshop import actions
from studio.workshop.models import Entry, Person, Photo, PhotoState, Piece, Says, Stage, Studio
from studio.workshop.photos import Arrived, DiskFull, Picture, keep, picture

P = ParamSpec("P")
LOOKS_BY_ITSELF_FOR = timedelta(minutes=2)  # after that a page left open on a trestle stops asking


def _person(request: HttpRequest) -> Person:
    return cast(Person, request.user)  # the door has seen to it


def _sent_signed_out(view: View[P]) -> View[P]:
    """What was sent cannot be kept for nobody; so it is said, and the way back is to the page that sent it."""

    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        if request.method == "POST" and not isinstance(request.user, Person):
            messages.error(request, _("You were signed out, so nothing was kept. Sign in, then send it again."))
            page = request.path.removesuffix("take-back/")
            return _see(f"{reverse('sign-in')}?{urlencode({'next': page})}")
        return view(request, *args, **kwargs)

    return door


def _see(address: str) -> HttpResponse:
    """The answer to a form is another page (RFC 9110, 303), so that loading it anew sends nothing twice."""
    return HttpResponseRedirect(address, status=303)


@never_cache
@require_safe
@bench_only
def bench(request: HttpRequest) -> HttpResponse:
    person = _person(request)
    page = lists.on_bench(person, request.GET)
    now = timezone.now()
    context: dict[str, Any] = {"others": page.stages, "more": page.more}
    if request.GET.get("after"):
        return render(request, "bench/more.html", context)
    logged = [(words.logged_at(line.entry.at, now), line) for line in lists.logged_by(person, now)]
    if not page.stages:
        elsewhere = Stage.objects.next_up().told().order_by("piece__job__van_day", "id").first()
        return render(request, "bench/empty.html", {"elsewhere": elsewhere, "logged": logged})
    first, *context["others"] = page.stages
    then = context["others"][0] if context["others"] else None
    return render(request, "bench/bench.html", context | _work(first) | {"then": then, "logged": logged})


@never_cache
@require_safe
@bench_only
def everything(request: HttpRequest) -> HttpResponse:
    page = lists.all_pieces(request.GET)
    return render(request, "bench/all.html", {"stages": page.stages, "more": page.more})


def _work(stage: Stage, sentence: str = "", for_client: bool = True) -> dict[str, Any]:
    """What the form of a stage shows. Each time it is shown it has an id of its own."""
    last, last_when = _last_photo(stage.piece)
    return {
        "stage": stage,
        "entry_id": uuid4(),
        "sentence": sentence,
        "for_client": for_client,
        "most_letters": MOST_LETTERS,
        "last": last,
        "last_when": last_when,
    }


def _last_photo(piece: Piece) -> tuple[Picture | None, str]:
    photos = Photo.objects.standing().filter(stage__piece=piece, state=PhotoState.DEVELOPED)
    newest = photos.order_by("-at", "-id").select_related("stage__kind").prefetch_related("renditions").first()
    if newest is None:
        return None, ""
    return picture(newest, f"{piece}, {newest.stage}"), words.when(newest.at, timezone.now())


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@_sent_signed_out
@bench_only
def stage(request: HttpRequest, stage_id: int) -> HttpResponse:
    found = get_object_or_404(Stage.objects.told(), pk=stage_id)
    return _log(request, found) if request.method == "POST" else _stage_page(request, found)


def _stage_page(
    request: HttpRequest,
    found: Stage,
    *,
    problems: tuple[str, ...] = (),
    sentence: str = "",
    for_client: bool = True,
    status: int = 200,
) -> HttpResponse:
    now, person = timezone.now(), _person(request)
    done = words.done_entry(found.pk) if found.done_at else None
    context = _work(found, sentence, for_client) | {
        "problems": problems,
        "done": done,
        "done_when": words.when(done.at, now) if done else "",
        "mine": done is not None and done.by_id == person.pk,
        "can_take_back": done is not None and actions.can_take_back(done, person, now),
        "closed": found.piece.job.closed_on is not None,
        "then": lists.next_for(person, but=found),
    }
    return render(request, "bench/stage.html", context, status=status)


def _log(request: HttpRequest, found: Stage) -> HttpResponse:
    form = Log(request.POST)

    def again(*problems: str, status: int = 422) -> HttpResponse:
        sentence, eyes = request.POST.get("sentence", "").replace("\0", ""), request.POST.get("eyes")
        return _stage_page(request, found, problems=problems, sentence=sentence, for_client=eyes != "us", status=status)

    if not form.is_valid():
        if form.has_error("sentence", "too_long"):
            return again(_("Say it in at most %(most)d letters, then send it again.") % {"most": MOST_LETTERS})
        return again(_("That did not arrive whole, so nothing was kept. Send it again."))
    try:
        arrived = keep(request.FILES.getlist("photos"))
    except DiskFull:
        sentence = _(
            "There is no room left for photos, so nothing was kept. Tell the lead. Done, no photo still works."
        )
        return again(sentence, status=507)
    says = Says(form.cleaned_data["says"])
    if says == Says.PHOTO and not arrived.kept:
        return again(*(arrived.refused or (_("There was no photo with it. Choose one."),)))
    try:
        entry = _kept_entry(form, says, found, arrived, _person(request))
    except actions.Refused as refused:
        return again(str(refused))
    _say_what_came(request, says, entry, arrived)
    return _see(reverse("bench-kept", args=[entry.pk]))


def _kept_entry(form: Log, says: Says, found: Stage, arrived: Arrived, person: Person) -> Entry:
    """A form sent again is one entry. But a page that a browser brought back may be used for another photo: that photo
    is not dropped. It makes an entry of its own, whose id follows from what was sent, so that this too is made once."""
    told = {"stage": found, "says": says, "sentence": form.cleaned_data["sentence"], "by": person}
    told |= {"for_client": form.for_client, "now": timezone.now()}
    entry = actions.log_at_bench(entry_id=form.cleaned_data["entry"], photos=arrived.kept, **told)
    have = set(entry.photos.values_list("original_sha256", flat=True))
    new = [photo for photo in arrived.kept if photo.sha256 not in have]
    if not new:
        return entry
    following = uuid5(entry.pk, " ".join(sorted(photo.sha256 for photo in new)))
    return actions.log_at_bench(entry_id=following, photos=new, **told)


def _say_what_came(request: HttpRequest, says: Says, entry: Entry, arrived: Arrived) -> None:
    refused = " ".join(_(sentence) for sentence in dict.fromkeys(arrived.refused))
    if refused:
        messages.error(request, f"{_('Done is kept.')} {refused}" if entry.says == Says.DONE else refused)
    first = words.done_entry(entry.stage_id) if says == Says.DONE else None
    if first and first.by_id != request.user.pk:
        messages.info(request, words.already_logged(first, photo_came=bool(arrived.kept), now=timezone.now()))


@never_cache
@require_safe
@bench_only
def kept(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    told = Entry.objects.select_related("stage__kind", "stage__piece__job", "by")
    entry = get_object_or_404(told.prefetch_related("photos__renditions", "notices__contact"), pk=entry_id)
    now, person, photos = timezone.now(), _person(request), list(entry.photos.all())
    waiting = any(photo.state == PhotoState.WAITING for photo in photos) and not entry.taken_back_at
    looks = waiting and now - entry.at < LOOKS_BY_ITSELF_FOR
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    if htmx and looks:
        return HttpResponse(status=204)  # nothing new, so nothing is said again to somebody who listens
    can_take_back = actions.can_take_back(entry, person, now)
    undo_minutes = Studio.objects.get().undo_minutes
    shown = [photo for photo in photos if photo.state == PhotoState.DEVELOPED][:1]
    failed = bool(photos) and all(photo.state == PhotoState.UNREADABLE for photo in photos)
    retaken = failed and words.came_out_later(entry)
    if failed and not retaken:
        ask_for = _("Take the photo again")
    else:
        ask_for = _("Add another photo") if photos else _("Add a photo")
    context = {
        "entry": entry,
        "stage": entry.stage,
        "mine": entry.by_id == person.pk,
        "at": words.logged_at(entry.at, now),
        "photos": photos,
        "picture": picture(shown[0], f"{entry.stage.piece}, {entry.stage}") if shown else None,
        "photo_sentences": [] if entry.taken_back_at else words.photo_sentences(photos, retaken=retaken),
        "letter_sentences": words.letter_sentences(
            entry, retaken=retaken, undo_minutes=undo_minutes, can_take_back=can_take_back, now=now
        ),
        "waiting": waiting,
        "looks": looks,
        "ask_for": ask_for,
        "entry_id": uuid4(),
        "for_client": entry.for_client,
        "most_letters": MOST_LETTERS,
        "can_take_back": can_take_back,
        "then": entry.stage if entry.taken_back_at else lists.next_for(person),
    }
    return render_part(request, "bench/kept.html", "bench/_photo_state.html", context)


@never_cache
@require_POST
@_sent_signed_out
@bench_only
def take_back(request: HttpRequest, entry_id: UUID) -> HttpResponse:
    entry = get_object_or_404(Entry, pk=entry_id)
    try:
        actions.take_back(entry, by=_person(request), now=timezone.now())
    except actions.TooLate as problem:
        messages.error(request, _(str(problem)))
    return _see(reverse("bench-kept", args=[entry.pk]))
