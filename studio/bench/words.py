"""What the bench says about something that was logged: where its photos are, and when word of it leaves."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    Kind,
    Notice,
    NoticeState,
    Photo,
    PhotoState,
    Release,
    Says,
)
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


def photo_sentences(photos: Sequence[Photo], *, retaken: bool) -> list[str]:
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
    if retaken:
        said.append(_("The photo did not come out. A later one did, so it need not be taken again."))
        return said
    for reason in dict.fromkeys(photo.reason for photo in photos if photo.state == PhotoState.UNREADABLE):
        said.append(_("The photo did not come out.") + " " + _(SENTENCES[Reason(reason)]))
    return said


def came_out_later(entry: Entry) -> bool:
    """A photo of the same stage stands that was sent after this entry's, for the same eyes or more."""
    later = Photo.objects.standing().filter(stage=entry.stage_id, at__gt=entry.at, state=PhotoState.DEVELOPED)
    return (later.filter(for_client=True) if entry.for_client else later).exists()


def letter_sentences(
    entry: Entry, *, retaken: bool, undo_minutes: int, can_take_back: bool, now: datetime
) -> list[str]:
    """Who gets word, and when, unless it is taken back. Wants photos, notices and their contacts prefetched.

    ``retaken`` says that a later photo stands for those of this entry, which did not come out.
    """
    notices = [notice for notice in entry.notices.all() if notice.state != NoticeState.WITHDRAWN]
    held_up = _held_up(notices)
    told, leaving, going, owed = (
        [notice for notice in notices if notice.state == state and notice not in held_up]
        for state in (NoticeState.TOLD, NoticeState.LEAVING, NoticeState.GOING, NoticeState.OWED)
    )
    if entry.taken_back_at:
        perhaps = [notice for notice in notices if notice.state == NoticeState.LEAVING]
        return _said(
            (_("Word of it had gone to %(names)s. The lead sees that."), told),
            (_("Word of it may have gone to %(names)s. The lead sees that."), perhaps),
        )
    photos = [photo for photo in entry.photos.all() if photo.for_client]
    lost = bool(photos) and all(photo.state == PhotoState.UNREADABLE for photo in photos) and not retaken
    looked = entry.stage.piece.job.release == Release.LOOKED
    to_look_at = looked and any(not photo.released_at and photo.state != PhotoState.UNREADABLE for photo in photos)
    said = [_("The lead looks at it before the client does.")] if to_look_at else []
    said += _said(
        (_("Word has gone to %(names)s."), told),
        (_("Word is leaving for %(names)s."), leaving),
        (_("Word to %(names)s is held up. The lead sees that."), held_up),
    )
    if going:
        said.append(_goes(going, going[0].leaves_at or now, can_take_back=can_take_back, now=now))
    if owed and lost:
        said += _said((_("The lead decides whether word goes to %(names)s without the photo."), owed))
    elif owed and looked and not to_look_at:
        said.append(_("The lead decides when word goes."))
    elif owed and not looked:
        hour = entry.at + timedelta(minutes=undo_minutes)
        said.append(_goes(owed, hour, can_take_back=can_take_back, now=now))
    return said


def _held_up(notices: Sequence[Notice]) -> list[Notice]:
    """Those whose letter failed, or of which nobody knows, until the lead has seen to it."""
    not_told = {
        str(notice.pk): notice for notice in notices if notice.state in {NoticeState.GOING, NoticeState.LEAVING}
    }
    if not not_told:
        return []
    stuck = Errand.objects.filter(
        kind=Kind.SEND_LETTER, subject__in=not_told, state__in=[ErrandState.FAILED, ErrandState.UNKNOWN]
    )
    return [not_told[subject] for subject in stuck.values_list("subject", flat=True)]


def _said(*lines: tuple[str, Sequence[Notice]]) -> list[str]:
    return [sentence % {"names": _names(notices)} for sentence, notices in lines if notices]


def _goes(notices: Sequence[Notice], hour: datetime, *, can_take_back: bool, now: datetime) -> str:
    told = {"names": _names(notices), "time": clock(hour)}
    if hour <= now:
        return _("Word goes to %(names)s as soon as it is ready.") % told
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
