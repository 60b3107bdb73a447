"""The bench: what is next, and done with a photo."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from studio.bench import lists, stuck_words, words
from studio.bench.forms import Log
from studio.bench.sending import person_at, say_what_was_no_photo, see, sent_signed_out
from studio.bench.work import work
from studio.front.signin import bench_only
from studio.workshop import actions
from studio.workshop.models import Entry, Says, Stage
from studio.workshop.photos import Arrived, DiskFull, keep


@never_cache
@require_safe
@bench_only
def bench(request: HttpRequest) -> HttpResponse:
    person, now = person_at(request), timezone.now()
    page = lists.on_bench(person, request.GET)
    context = {"others": page.stages, "more": page.more}
    if request.GET.get("after"):
        return render(request, "bench/more.html", context)
    context["logged"] = [(words.logged_at(line.entry.at, now), line) for line in lists.logged_by(person, now)]
    if not page.stages or page.stages[0].needs:  # type: ignore[attr-defined]  # an annotation
        return render(request, "bench/empty.html", context | {"elsewhere": lists.elsewhere()})
    first, *others = page.stages
    context |= work(first, now) | {"others": others, "then": others[0] if others else None}
    return render(request, "bench/bench.html", context)


@never_cache
@require_safe
@bench_only
def everything(request: HttpRequest) -> HttpResponse:
    page = lists.all_pieces(request.GET)
    return render(request, "bench/all.html", {"stages": page.stages, "more": page.more})


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@sent_signed_out
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
    now, person = timezone.now(), person_at(request)
    done = words.done_entry(found.pk) if found.done_at else None
    context = work(found, now, sentence=sentence, for_client=for_client) | {
        "problems": problems,
        "done": done,
        "done_when": words.when(done.at, now) if done else "",
        "mine": done is not None and done.by_id == person.pk,
        "can_take_back": done is not None and actions.can_take_back(done, person, now),
        "closed": found.piece.job.closed_on is not None,
        "held": stuck_words.held(found, now),
        "then": lists.next_for(person, but=found),
    }
    return render(request, "bench/stage.html", context, status=status)


def _log(request: HttpRequest, found: Stage) -> HttpResponse:
    form = Log(request.POST)

    def again(*problems: str, status: int = 422) -> HttpResponse:
        sentence, eyes = request.POST.get("sentence", "").replace("\0", ""), request.POST.get("eyes")
        return _stage_page(request, found, problems=problems, sentence=sentence, for_client=eyes != "us", status=status)

    if not form.is_valid():
        return again(form.problem)
    try:
        arrived = keep(request.FILES.getlist("photos"))
    except DiskFull:
        sentence = _(
            "There is no room left for photos, so nothing was kept. Tell the lead. Done, no photo still works."
        )
        return again(sentence, status=507)
    says = form.told
    if not form.without_photo and not arrived.kept and not arrived.refused:
        return again(_("There was no photo with it. Choose one."))
    if says == Says.PHOTO and not arrived.kept:
        return again(*map(_, arrived.refused))
    try:
        entry = actions.log_at_bench(
            entry_id=form.cleaned_data["entry"],
            stage=found,
            says=says,
            photos=arrived.kept,
            sentence=form.cleaned_data["sentence"],
            for_client=form.for_client,
            by=person_at(request),
            now=timezone.now(),
        )
    except actions.Refused as refused:
        return again(_(str(refused)))
    say_what_was_no_photo(request, arrived, _("Done is kept.") if entry.says == Says.DONE else "")
    if says == Says.DONE:
        _say_who_was_first(request, entry, arrived)
    return see(reverse("bench-kept", args=[entry.pk]))


def _say_who_was_first(request: HttpRequest, entry: Entry, arrived: Arrived) -> None:
    first = words.done_entry(entry.stage_id)
    if first and first.by_id != request.user.pk:
        messages.info(request, words.already_logged(first, photo_came=bool(arrived.kept), now=timezone.now()))
