"""Letters: what leaves soon, what has left, and each as its reader sees it."""

import base64
from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_POST, require_safe

from studio.front.csp import POLICY
from studio.front.signin import lead_only
from studio.office.letter_lines import letter_line, notice_line, notice_lines, trouble_of
from studio.office.paging import page_by_key
from studio.office.saving import who
from studio.office.wording import many, sentence
from studio.workshop import actions, letters, storage
from studio.workshop.models import Job, Letter, Notice, NoticeState, Photo

# A letter is somebody else's text: no script, no frame, nothing fetched, and no address of its own. Its picture stands in
# the page itself, because a sandboxed page is nobody and would not be given it.
LETTER_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'self'"
)
PREVIEW_POLICY = f"{POLICY}; frame-src 'self'"
_LEAVING = (NoticeState.GOING, NoticeState.LEAVING)


@lead_only
@require_safe
def outbox(request: HttpRequest) -> HttpResponse:
    now, server = timezone.now(), letters.server()
    asked = request.GET.get("job", "")
    job = get_object_or_404(Job, pk=asked) if asked.isdecimal() else None
    told = _letters()
    going = Notice.objects.filter(state__in=_LEAVING).select_related("contact", "stage__kind", "stage__piece", "job")
    if job:
        told, going = told.filter(job=job), going.filter(job=job)
    lines = notice_lines(list(going.order_by("leaves_at", "pk")[:50]), now)
    waiting, held = [line for line in lines if not line.errand], [line for line in lines if line.errand]
    page = page_by_key(told, request.GET.get("after", ""), by="sent_at")
    leave = f"{many(len(waiting), 'letter')} {'leaves' if len(waiting) == 1 else 'leave'} soon."
    context = {
        "now": now,
        "server": server.host if server else "",
        "job": job,
        "heading": sentence(leave) if waiting else "No letter is about to leave.",
        "going": waiting,
        "held": held,
        "gone": [(letter, letter_line(letter, now)) for letter in page.rows],
        "page": page,
        "also": f"job={job.pk}" if job else "",
    }
    return render(request, "office/letters.html", context)


def _letters() -> QuerySet[Letter]:
    """With all that their lines name."""
    to_contacts = ("notice__contact", "notice__stage__kind", "notice__stage__piece")
    return Letter.objects.select_related("job", "person", *to_contacts, "stuck__stage__kind", "stuck__stage__piece")


def _letter(letter_id: UUID) -> Letter:
    return get_object_or_404(_letters(), pk=letter_id)


def _read(letter_id: UUID) -> letters.Written | None:
    try:
        return letters.read_outbox(letter_id)
    except FileNotFoundError:
        return None


@lead_only
@require_safe
def letter(request: HttpRequest, letter_id: UUID) -> HttpResponse:
    row, now = _letter(letter_id), timezone.now()
    context = {
        "now": now,
        "job": row.job,
        "heading": letter_line(row, now),
        "written": _read(letter_id),
        "frame": f"/office/letters/{letter_id}/html/",
        "letter": row,
        "trouble": "The file of this letter is not in the outbox any more. That it was sent stands here.",
    }
    return _preview(request, context)


@lead_only
@xframe_options_sameorigin
@require_safe
def letter_html(request: HttpRequest, letter_id: UUID) -> HttpResponse:
    _letter(letter_id)
    written = _read(letter_id)
    if written is None:
        raise Http404
    return _as_read(written)


def _notice(notice_id: int) -> Notice:
    rows = Notice.objects.select_related("contact", "job", "stage__kind", "stage__piece", "entry")
    return get_object_or_404(rows, pk=notice_id)


def _write(notice: Notice, now: datetime) -> letters.Written:
    """As it would leave now. Raises CannotWrite."""
    photo = Photo.objects.shown().filter(stage=notice.stage_id).order_by("-at", "-id").first()
    picture = None
    if photo:
        with storage.open_rendition(photo.renditions.get(edge=480).sha256) as file:
            picture = file.read()
    return letters.stage_done(notice, picture, now)


@lead_only
@require_safe
def notice(request: HttpRequest, notice_id: int) -> HttpResponse:
    """Before it leaves. Once it has, its letter shows what was really sent."""
    row, now = _notice(notice_id), timezone.now()
    sent = Letter.objects.filter(notice=row).first()
    if sent:
        return redirect("office-letter", sent.pk)
    written, trouble = None, ""
    try:
        written = _write(row, now)
    except letters.CannotWrite as problem:
        trouble = str(problem)
    line = notice_line(row, now, trouble_of(row))
    context = {
        "now": now,
        "job": row.job,
        "heading": line.words,
        "line": line,
        "written": written,
        "frame": f"/office/notices/{notice_id}/html/",
        "notice": row,
        "can_take_back": line.can_take_back,
        "trouble": trouble,
    }
    return _preview(request, context)


@lead_only
@xframe_options_sameorigin
@require_safe
def notice_html(request: HttpRequest, notice_id: int) -> HttpResponse:
    try:
        return _as_read(_write(_notice(notice_id), timezone.now()))
    except letters.CannotWrite:
        raise Http404 from None


@lead_only
@require_POST
def take_back(request: HttpRequest, notice_id: int) -> HttpResponse:
    row = _notice(notice_id)
    try:
        actions.take_back_letter(row, by=who(request), now=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"Taken back: {row.contact} is not told about {row.stage} of {row.stage.piece}.")
    return redirect("office-job", row.job_id)


def _preview(request: HttpRequest, context: dict[str, object]) -> HttpResponse:
    response = render(request, "office/letter.html", context)
    response.headers["Content-Security-Policy"] = PREVIEW_POLICY
    return response


def _as_read(written: letters.Written) -> HttpResponse:
    html = written.html
    if written.picture is not None:
        inline = base64.b64encode(written.picture).decode()
        html = html.replace("cid:picture", f"data:image/jpeg;base64,{inline}")
    response = HttpResponse(html)
    response.headers["Content-Security-Policy"] = LETTER_POLICY
    response.headers["Cache-Control"] = "private, no-store"
    return response
