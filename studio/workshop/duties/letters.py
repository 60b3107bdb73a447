"""Letters on their way: to a contact, that a stage is done; to a lead, that one is stuck."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage

from django.db.models import Q

from studio.env import MailServer
from studio.workshop import errands, imaging, invitations, letters, mail, outbox, storage
from studio.workshop.models import Errand, Letter, Notice, NoticeState, Person, Photo, Role, Stuck

LETTER_PICTURE_MOST_BYTES = 60_000


class KeptBack(Exception):
    """The lead took a photo back while its letter was being written: written again, it has another one, or none."""


class NotWanted(Exception):
    """Taken back, answered or given another hour while it was on its way to the mail server: nothing left, all is well."""


def _let_out(errand: Errand, written: EmailMessage, leave: Callable[[], None], server: MailServer | None) -> str:
    """Into the outbox folder; or to the mail server, with a copy there. Returns who took it: none for the outbox.

    ``leave`` says for the last time whether it may, and marks that it does; what it raises stops the letter. In the outbox a
    letter written again is the same letter, so it may be tried as often as one likes. To a mail server there is a point of
    no return, and the row says ``handing`` before the final dot goes.
    """
    if server is None:
        leave()
        outbox.put(written, errand.pk)
        return ""

    def before_dot() -> None:
        outbox.put(written, errand.pk)
        leave()
        errands.begin_handing(errand)

    return _send_off(written, before_dot, server)


def _send_off(written: EmailMessage, before_dot: Callable[[], None], server: MailServer | None) -> str:
    """Returns the mail server's name. Raises what ``mail.hand_over`` raises."""
    if server is None:
        raise letters.CannotWrite("No mail server is set up, so nothing was sent.")
    sender, to = (written[name].addresses[0].addr_spec for name in ("From", "To"))
    mail.hand_over(server, written.as_bytes(), sender=sender, to=to, before_dot=before_dot)
    return server.host


def _go_on(server: str, now: datetime) -> None:
    """A mail server that took one letter gets those that were put off, too."""
    if server:
        errands.bring_forward(now)


@dataclass(frozen=True)
class Gone:
    """``server`` is the mail server that took it, or empty for the outbox."""

    photo: Photo | None
    server: str


def send(errand: Errand, now: datetime) -> Gone | None:
    """The notice is leaving, and too late to take back, only from the moment before the last step."""
    row = Notice.objects.filter(pk=errand.subject)
    notice = row.select_related("contact", "job", "stage__piece", "stage__kind", "entry").first()
    if notice is None or notice.state not in {NoticeState.GOING, NoticeState.LEAVING}:
        return None
    shown = Photo.objects.shown().filter(stage=notice.stage_id).order_by("-at", "-id")
    photo = shown.filter(entry=notice.entry_id).first() or shown.first()
    written = letters.as_mail(
        letters.stage_done(notice, _letter_picture(photo) if photo else None, now), errand.pk, now
    )
    # Its hour may have been moved since this errand was claimed: then it goes at that hour.
    may_leave = Q(state=NoticeState.LEAVING) | Q(state=NoticeState.GOING, leaves_at__lte=now)

    def leave() -> None:
        if not row.filter(may_leave).update(state=NoticeState.LEAVING):
            raise NotWanted
        if photo and not Photo.objects.shown().filter(pk=photo.pk).exists():
            raise KeptBack("The photo of this letter was kept back meanwhile.")

    server = letters.server()
    try:
        return Gone(photo, _let_out(errand, written, leave, server))
    except NotWanted:
        return None
    except (OSError, KeptBack, mail.NotNow, mail.Refusal):
        if server or not outbox.path(errand.pk).exists():  # still here, and so it can be taken back
            row.filter(state=NoticeState.LEAVING).update(state=NoticeState.GOING)
        raise


def _letter_picture(photo: Photo) -> bytes:
    rendition = photo.renditions.get(edge=960)
    return imaging.shrink(storage.rendition_path(rendition.sha256), LETTER_PICTURE_MOST_BYTES)


def keep_sent(errand: Errand, gone: Gone | None, now: datetime) -> None:
    if gone is None:
        return
    _go_on(gone.server, now)
    leaving = Notice.objects.filter(pk=errand.subject, state=NoticeState.LEAVING)
    for notice in leaving:
        Letter.objects.create(
            pk=errand.pk,
            notice=notice,
            contact_id=notice.contact_id,
            job_id=notice.job_id,
            photo=gone.photo,
            server=gone.server,
            sent_at=now,
        )
    leaving.update(state=NoticeState.TOLD)


def tell_lead(errand: Errand, now: datetime) -> tuple[Stuck, Person, str] | None:
    """Unless it was answered meanwhile. In the outbox, a letter that lies there from before a crash has left: it is not written
    anew, and stands in the record whatever was answered since."""
    stuck_id, _, person_id = errand.subject.partition("-")
    told = Stuck.objects.select_related("entry__by", "stage__kind", "stage__piece__job")
    stuck, lead = (
        told.filter(pk=stuck_id).first(),
        Person.objects.filter(pk=person_id, is_active=True, role=Role.LEAD).first(),
    )
    if not stuck or not lead:
        return None
    server = letters.server()
    if server is None and outbox.path(errand.pk).exists():
        return stuck, lead, ""

    def leave() -> None:
        if not Stuck.objects.standing().filter(pk=stuck.pk).exists():
            raise NotWanted

    try:
        leave()
        written = letters.as_mail(letters.something_stuck(stuck, lead), errand.pk, now)
        return stuck, lead, _let_out(errand, written, leave, server)
    except NotWanted:
        return None


def keep_told(errand: Errand, told: tuple[Stuck, Person, str] | None, now: datetime) -> None:
    if told:
        stuck, lead, server = told
        _go_on(server, now)
        Letter.objects.create(
            pk=errand.pk, stuck=stuck, person=lead, job=stuck.stage.piece.job, server=server, sent_at=now
        )


def invite(errand: Errand, now: datetime) -> str:
    """The way in of somebody of the studio. No copy is kept: whoever read it could come in."""
    person = Person.objects.filter(pk=errand.subject, is_active=True).first()
    if not person or not invitations.opens(person, now):
        raise letters.CannotWrite("The link opens no more, so no letter was written. Make a new one.")

    def before_dot() -> None:
        if not Person.objects.filter(pk=person.pk, is_active=True, invited_at=person.invited_at).exists():
            raise NotWanted
        errands.begin_handing(errand)

    try:
        return _send_off(letters.as_mail(letters.invitation(person), errand.pk, now), before_dot, letters.server())
    except NotWanted:
        return ""


def send_trial(errand: Errand, now: datetime) -> str:
    """To see whether letters leave. It is nobody's news, so its end is all that stands in the record."""
    person = Person.objects.filter(pk=errand.subject, is_active=True).first()
    if not person:
        return ""
    written = letters.as_mail(letters.trial(person), errand.pk, now)
    return _send_off(written, lambda: errands.begin_handing(errand), letters.server())


def keep_unrecorded(errand: Errand, server: str, now: datetime) -> None:
    """That it left is the end of its errand, and stands nowhere else."""
    _go_on(server, now)
