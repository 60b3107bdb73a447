"""Stuck: said in one tap, and carried on."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from studio.bench import stuck_words
from studio.bench.forms import SayStuck
from studio.bench.sending import person_at, say_what_was_no_photo, see, sent_signed_out
from studio.bench.work import work
from studio.front.signin import bench_only
from studio.workshop import actions
from studio.workshop.models import Needs, Stage, Stuck
from studio.workshop.photos import DiskFull, keep


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@sent_signed_out
@bench_only
def stuck(request: HttpRequest, stage_id: int) -> HttpResponse:
    found = get_object_or_404(Stage.objects.told(), pk=stage_id)
    return _say(request, found) if request.method == "POST" else _page(request, found)


def _page(
    request: HttpRequest, found: Stage, *, problems: tuple[str, ...] = (), sentence: str = "", status: int = 200
) -> HttpResponse:
    now = timezone.now()
    context = work(found, now, sentence=sentence) | {
        "problems": problems,
        "held": stuck_words.held(found, now),
        "choices": stuck_words.CHOICES,
    }
    return render(request, "bench/stuck.html", context, status=status)


def _say(request: HttpRequest, found: Stage) -> HttpResponse:
    form = SayStuck(request.POST)

    def again(problem: str, status: int = 422) -> HttpResponse:
        sentence = request.POST.get("sentence", "").replace("\0", "")
        return _page(request, found, problems=(problem,), sentence=sentence, status=status)

    if not form.is_valid():
        return again(form.problem)
    try:
        arrived = keep(request.FILES.getlist("photos"))
    except DiskFull:
        return again(
            _(
                "There is no room left for photos, so nothing was kept. Say it without a photo: it is told all the same."
            ),
            status=507,
        )
    try:
        entry = actions.say_stuck(
            entry_id=form.cleaned_data["entry"],
            stage=found,
            needs=Needs(form.cleaned_data["needs"]),
            sentence=form.cleaned_data["sentence"],
            photos=arrived.kept,
            by=person_at(request),
            now=timezone.now(),
        )
    except actions.Refused as refused:
        return again(_(str(refused)))
    say_what_was_no_photo(request, arrived, _("That it is stuck is kept."))
    return see(reverse("bench-kept", args=[entry.pk]))


@never_cache
@require_POST
@sent_signed_out
@bench_only
def carry_on(request: HttpRequest, stage_id: int) -> HttpResponse:
    """What was stuck when the page was drawn goes on; what somebody has said since then stands."""
    asked = request.POST.get("stuck", "")
    pk = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 19 else 0
    told = Stuck.objects.select_related("stage__kind", "stage__piece__job", "answered_by")
    row = get_object_or_404(told, pk=pk, stage=stage_id)
    if row.answered_at is None:
        actions.answer_stuck(row, by=person_at(request), now=timezone.now())
        messages.success(request, _("%(piece)s, %(stage)s goes on.") % {"piece": row.stage.piece, "stage": row.stage})
    return see(reverse("bench-stage", args=[stage_id]))
