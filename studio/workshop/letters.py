"""Letters to clients: one subject, one fact, one picture, one link. One function a letter; three templates each."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from uuid import NAMESPACE_URL, UUID, uuid5
from zoneinfo import ZoneInfo

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from studio.env import MailServer
from studio.workshop import invitations, links, outbox
from studio.workshop.models import Job, Link, Needs, Notice, Person, Role, Stuck, Studio

_PICTURE_CID = "picture"
# Plain ASCII on the way, which every server takes.
POLICY = policy.SMTP.clone(cte_type="7bit")
NEEDS = {
    Needs.HAND: _("It needs a hand."),
    Needs.MATERIAL: _("Material is missing."),
    Needs.ANSWER: _("It needs an answer."),
    Needs.BROKE: _("Something broke."),
}


def server() -> MailServer | None:
    """Through which letters leave; None where they lie in the outbox. The demo writes to nobody, whatever is set."""
    return None if Studio.objects.filter(demo=True).exists() else settings.MAIL


class CannotWrite(Exception):
    """This letter cannot be written as things stand; the message is a sentence for the lead."""


@dataclass(frozen=True)
class Written:
    """A letter as it leaves. ``html`` shows the picture as ``cid:picture``."""

    to_name: str
    to_address: str
    subject: str
    text: str
    html: str
    picture: bytes | None
    answers_to: tuple[str, str] | None = None  # name and address of whom an answer reaches
    thread: str = ""  # what it belongs to; letters of one thread are shown together
    stop_address: str = ""  # where its reader can end such letters, without signing in


def stage_done(notice: Notice, picture: bytes | None, now: datetime) -> Written:
    """Word that a stage is done, with a picture (JPEG) of it where a photo is released. Raises CannotWrite."""
    contact, job, studio = notice.contact, notice.job, Studio.objects.get()
    today = now.astimezone(ZoneInfo(studio.time_zone)).date()
    link = Link.objects.written_to().opening(today).filter(contact=contact, job=job).first()
    if not link:
        raise CannotWrite("The contact has no e-mail address or no link that opens any more, so no letter was written.")
    context = {
        "contact": contact.name,
        "job": job.name,
        "piece": notice.stage.piece.name,
        "stage": str(notice.stage),
        "sentence": notice.entry.words_for_client(notice.stage.kind),
        "address": links.address_for(link),
        "picture": picture is not None,
    }
    subject, text, html = _rendered("stage_done", studio, context)
    return Written(
        contact.name,
        contact.email,
        subject,
        text,
        html,
        picture,
        answers_to=_whom_to_ask(job),
        thread=f"job {job.pk}",
        stop_address=links.stop_address_for(link),
    )


def _whom_to_ask(job: Job) -> tuple[str, str] | None:
    """The lead whose words stand on the client's page, else the first of the leads; as that page has it."""
    said = job.confirmations.select_related("by").first()
    lead = Person.objects.filter(role=Role.LEAD, is_active=True).order_by("pk").first()
    ask = said.by if said and said.by.is_active else lead
    return (ask.name, ask.email) if ask else None


def something_stuck(stuck: Stuck, lead: Person) -> Written:
    """Word to a lead that a stage cannot go on. Raises CannotWrite."""
    if not lead.email:
        raise CannotWrite(f"{lead} has no e-mail address, so no letter was written.")
    studio, stage = Studio.objects.get(), stuck.stage
    context = {
        "lead": lead.name,
        "by": stuck.entry.by.name,
        "job": stage.piece.job.name,
        "piece": stage.piece.name,
        "stage": str(stage),
        "needs_words": gettext(NEEDS[Needs(stuck.needs)]),
        "sentence": stuck.entry.sentence,
        "address": f"{settings.ADDRESS}/office/stuck/{stuck.pk}/",
    }
    subject, text, html = _rendered("stuck", studio, context)
    return Written(lead.name, lead.email, subject, text, html, None, thread=f"job {stage.piece.job_id}")


def invitation(to: Person) -> Written:
    """The way in of somebody of the studio. Raises CannotWrite where it has been taken back."""
    until = invitations.opens_until(to)
    if until is None:
        raise CannotWrite(f"The link of {to} was taken back, so no letter was written.")
    context = {"person": to.name, "address": invitations.address_for(to), "until": until}
    subject, text, html = _rendered("invitation", Studio.objects.get(), context)
    return Written(to.name, to.email, subject, text, html, None)


def trial(to: Person) -> Written:
    """Shows that letters leave."""
    studio = Studio.objects.get()
    subject, text, html = _rendered("trial", studio, {"person": to.name})
    return Written(to.name, to.email, subject, text, html, None)


def _rendered(letter: str, studio: Studio, context: Mapping[str, object]) -> tuple[str, str, str]:
    """Subject, text and HTML from the three templates of a letter, with the shop's days and hours."""
    with timezone.override(ZoneInfo(studio.time_zone)):
        subject, text, html = (
            render_to_string(f"letters/{letter}.{part}", {"studio": studio.name, **context})
            for part in ("subject.txt", "txt", "html")
        )
    # Django calls all that it renders safe HTML. Neither of these is HTML, so a page that shows them has to escape them.
    return " ".join(subject.split()), "" + text, html


def as_mail(written: Written, letter_id: UUID, now: datetime) -> EmailMessage:
    """The whole message, text part first. The letter's id is its Message-ID, so that sending twice shows."""
    domain = settings.LETTERS_FROM.rpartition("@")[2]
    mail = EmailMessage(policy=POLICY)
    mail["From"] = _mailbox(Studio.objects.get().name, settings.LETTERS_FROM)
    mail["To"] = _mailbox(written.to_name, written.to_address)
    if written.answers_to:
        mail["Reply-To"] = _mailbox(*written.answers_to)
    mail["Subject"] = written.subject
    mail["Date"] = format_datetime(now)
    mail["Message-ID"] = f"<{letter_id}@{domain}>"
    if (
        written.thread
    ):  # RFC 5322, 3.6.4; the first of a thread is made up, so that the order of sending does not matter
        mail["References"] = f"<{uuid5(NAMESPACE_URL, f'{settings.ADDRESS}/ {written.thread}')}@{domain}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834, 5
    if written.stop_address:  # RFC 2369, 3.2
        mail["List-Unsubscribe"] = f"<{written.stop_address}>"
        if written.stop_address.startswith("https:"):  # RFC 8058, 3.1: one click is for https only
            mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    mail.set_content(written.text)
    content_id = f"picture.{letter_id}@{domain}"  # RFC 2392: unlike any other in the world
    mail.add_alternative(written.html.replace(f"cid:{_PICTURE_CID}", f"cid:{content_id}"), subtype="html")
    if written.picture is not None:
        html_part = mail.get_payload()[1]  # type: ignore[index]
        html_part.add_related(  # type: ignore[union-attr]
            written.picture, "image", "jpeg", cid=f"<{content_id}>", filename="photo.jpg", disposition="inline"
        )
        html_part.set_param("type", "text/html")  # type: ignore[union-attr]  # RFC 2387, 3.1
    return mail


def _mailbox(name: str, address: str) -> Address:
    """Raises CannotWrite where nobody can be reached by it."""
    try:
        local, _, at = address.rpartition("@")
        domain = at if at.startswith("[") else at.encode("idna").decode()
        mailbox = Address(" ".join(name.split()), addr_spec=f"{local}@{domain}")
        if not mailbox.addr_spec.isascii():
            raise ValueError(address)
    except (ValueError, IndexError, HeaderParseError) as error:
        raise CannotWrite(f"The e-mail address of {name} cannot be used. Correct it.") from error
    return mailbox


def read_outbox(letter_id: UUID) -> Written:
    """A letter as it left. Raises FileNotFoundError where the file was thrown away."""
    mail = message_from_bytes(outbox.path(letter_id).read_bytes(), policy=policy.SMTP)
    text, html = (mail.get_body((kind,)) for kind in ("plain", "html"))
    pictures = [part for part in mail.walk() if part.get_content_type() == "image/jpeg"]
    to = mail["To"].addresses[0]
    return Written(
        to_name=to.display_name,
        to_address=to.addr_spec,
        subject=str(mail["Subject"]),
        text=text.get_content() if text else "",
        html=re.sub(r"cid:[^\"]+", f"cid:{_PICTURE_CID}", html.get_content()) if html else "",
        picture=pictures[0].get_content() if pictures else None,
    )
