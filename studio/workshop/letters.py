"""Letters to clients: one subject, one fact, one picture, one link. One function a letter; three templates each."""

from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from urllib.parse import urlsplit
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from studio.workshop import links, outbox
from studio.workshop.models import Link, Needs, Notice, Person, Stuck, Studio

_PICTURE_CID = "picture"
NEEDS = {
    Needs.HAND: _("It needs a hand."),
    Needs.MATERIAL: _("Material is missing."),
    Needs.ANSWER: _("It needs an answer."),
    Needs.BROKE: _("Something broke."),
}


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


def stage_done(notice: Notice, picture: bytes | None) -> Written:
    """Word that a stage is done, with a picture (JPEG) of it where a photo is released. Raises CannotWrite."""
    contact, job, studio = notice.contact, notice.job, Studio.objects.get()
    link = Link.objects.standing().filter(contact=contact, job=job).first()
    if not link or not contact.email:
        raise CannotWrite("The contact has no link or no e-mail address any more, so no letter was written.")
    context = {
        "studio": studio.name,
        "contact": contact.name,
        "job": job.name,
        "piece": notice.stage.piece.name,
        "stage": str(notice.stage),
        "sentence": notice.entry.words_for_client(notice.stage.kind),
        "address": links.address_for(link),
        "picture": picture is not None,
    }
    with timezone.override(ZoneInfo(studio.time_zone)):
        subject, text, html = (
            render_to_string(f"letters/stage_done.{part}", context) for part in ("subject.txt", "txt", "html")
        )
    return Written(contact.name, contact.email, " ".join(subject.split()), text, html, picture)


def something_stuck(stuck: Stuck, lead: Person) -> Written:
    """Word to a lead that a stage cannot go on. Raises CannotWrite."""
    if not lead.email:
        raise CannotWrite(f"{lead} has no e-mail address, so no letter was written.")
    studio, stage = Studio.objects.get(), stuck.stage
    context = {
        "studio": studio.name,
        "lead": lead.name,
        "by": stuck.entry.by.name,
        "job": stage.piece.job.name,
        "piece": stage.piece.name,
        "stage": str(stage),
        "needs_words": gettext(NEEDS[Needs(stuck.needs)]),
        "sentence": stuck.entry.sentence,
        "address": f"{settings.ADDRESS}/office/stuck/{stuck.pk}/",
    }
    with timezone.override(ZoneInfo(studio.time_zone)):
        subject, text, html = (
            render_to_string(f"letters/stuck.{part}", context) for part in ("subject.txt", "txt", "html")
        )
    return Written(lead.name, lead.email, " ".join(subject.split()), text, html, None)


def as_mail(written: Written, letter_id: UUID, now: datetime) -> EmailMessage:
    """The whole message, text part first. The letter's id is its Message-ID, so that sending twice shows."""
    host = urlsplit(settings.ADDRESS).hostname or "localhost"
    domain = f"[IPv6:{host}]" if ":" in host else host  # RFC 5321, 4.1.3
    studio = Studio.objects.get()
    mail = EmailMessage(policy=policy.SMTP)
    try:
        mail["From"] = Address(" ".join(studio.name.split()), addr_spec=f"letters@{domain}")
        mailbox, _, at = written.to_address.rpartition("@")
        address = f"{mailbox}@{at.encode('idna').decode()}"
        mail["To"] = Address(" ".join(written.to_name.split()), addr_spec=address)
    except (ValueError, IndexError, HeaderParseError) as error:
        raise CannotWrite(f"The e-mail address of {written.to_name} cannot be used. Correct it.") from error
    mail["Subject"] = written.subject
    mail["Date"] = format_datetime(now)
    mail["Message-ID"] = f"<{letter_id}@{domain}>"
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(written.text)
    mail.add_alternative(written.html, subtype="html")
    if written.picture is not None:
        html_part = mail.get_payload()[1]  # type: ignore[index]
        html_part.add_related(  # type: ignore[union-attr]
            written.picture, "image", "jpeg", cid=f"<{_PICTURE_CID}>", filename="photo.jpg", disposition="inline"
        )
    return mail


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
        html=html.get_content() if html else "",
        picture=pictures[0].get_content() if pictures else None,
    )
