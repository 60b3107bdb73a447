"""What the bench says about something that was logged: where its photos are, and when word of it leaves."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio.workshop.models import Entry, Notice, NoticeState, Photo, PhotoState, Release, Says
from studio.workshop.sniff import SENTENCES, Reason


def clock(at: datetime) -> str:
    return date_format(timezone.localtime(at), "H:i")


def when(at: datetime, now: datetime) -> str:
    """today 10:42, yesterday 16:12, Monday 16:12, 3 November"""
    here, today = timezone.localtime(at), timezone.localtime(now).date()
    days = (today - here.date()).days
    if days == 0:
        return _("today %(time)s") % {"time": clock(at)}
    if days == 1:
        return _("yesterday %(time)s") % {"time": clock(at)}
    return date_format(here, "l H:i" if 0 < days < 7 else "j F")


def logged_at(at: datetime, now: datetime) -> str:
    """10:42 on the day itself, and with its day after that"""
    return clock(at) if _same_day(at, now) else when(at, now)


def _same_day(at: datetime, now: datetime) -> bool:
    return timezone.localtime(at).date() == timezone.localtime(now).date()


def photo_sentences(photos: Sequence[Photo]) -> list[str]:
    """What became of the photos of one entry; nothing where there are none."""
    said = []
    waiting = sum(photo.state == PhotoState.WAITING for photo in photos)
    if waiting:
        said.append(
            ngettext("The photo is being developed.", "%(count)d photos are being developed.", waiting)
            % {"count": waiting}
        )
    developed = [photo for photo in photos if photo.state == PhotoState.DEVELOPED]
    if developed:
        count = len(developed)
        sentence = ngettext("The photo is developed.", "%(count)d photos are developed.", count) % {"count": count}
        if not any(photo.for_client for photo in developed):
            sentence += " " + ngettext("It is for us only.", "They are for us only.", count)
        elif all(photo.released_at for photo in developed):
            sentence += " " + ngettext("The client sees it.", "The client sees them.", count)
        said.append(sentence)
    for reason in dict.fromkeys(photo.reason for photo in photos if photo.state == PhotoState.UNREADABLE):
        said.append(_("The photo did not come out.") + " " + _(SENTENCES[Reason(reason)]))
    return said


def letter_sentence(entry: Entry, *, undo_minutes: int, can_take_back: bool, now: datetime) -> str:
    """Who gets word, and when, unless it is taken back. Wants photos, notices and their contacts prefetched."""
    notices = [notice for notice in entry.notices.all() if notice.state != NoticeState.WITHDRAWN]
    gone = [notice for notice in notices if notice.state in {NoticeState.LEAVING, NoticeState.TOLD}]
    if entry.taken_back_at:
        return _("Word of it had gone to %(names)s. The lead sees that.") % {"names": _names(gone)} if gone else ""
    if gone:
        return _("Word has gone to %(names)s.") % {"names": _names(gone)}
    photos = list(entry.photos.all())
    if entry.stage.piece.job.release == Release.LOOKED:
        to_look_at = any(photo.for_client and not photo.released_at for photo in photos)
        going = any(notice.state == NoticeState.GOING for notice in notices)
        if to_look_at or (notices and not going):
            return _("The lead looks at it before the client does.")
    if not notices:
        return ""
    names = _names(notices)
    leaves_at = notices[0].leaves_at
    if leaves_at is None:
        shown = [photo for photo in photos if photo.for_client]
        if any(photo.state == PhotoState.UNREADABLE for photo in shown):
            return _("The lead decides whether word goes to %(names)s without the photo.") % {"names": names}
        leaves_at = entry.at + timedelta(minutes=undo_minutes)
    if leaves_at <= now:
        return _("Word goes to %(names)s as soon as it is ready.") % {"names": names}
    told = {"names": names, "time": clock(leaves_at)}
    if can_take_back:
        return _("Word goes to %(names)s at %(time)s unless you take it back.") % told
    return _("Word goes to %(names)s at %(time)s.") % told


def already_logged(first: Entry, *, photo_came: bool, now: datetime) -> str:
    """For somebody who says "done" of what another has just logged. ``first`` is that other entry."""
    hour = when(first.at, now)
    if _same_day(first.at, now):
        hour = _("at %(time)s") % {"time": clock(first.at)}
    told = {"name": first.by.name, "when": hour}
    if not photo_came:
        return _("%(name)s logged this %(when)s. Nothing more is needed.") % told
    if first.photos.exists():
        return _("%(name)s logged this %(when)s. Both photos are kept.") % told
    return _("%(name)s logged this %(when)s. Your photo is kept with it.") % told


def done_entry(stage_id: int) -> Entry | None:
    """What says that a stage is done."""
    said = Entry.objects.filter(stage=stage_id, says=Says.DONE, taken_back_at=None)
    return said.select_related("by", "stage__piece").first()


def _names(notices: Sequence[Notice]) -> str:
    return get_text_list([notice.contact.name for notice in notices], _("and"))
