"""Who follows a job by a link, and how each link stands, in words."""

from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from studio.office.wording import short_day
from studio.workshop import links
from studio.workshop.models import Contact, Job, Link


@dataclass(frozen=True)
class Follower:
    """``address`` is empty where no link opens: there is none to this job, or it is ``revoked`` or over."""

    contact: Contact
    link: int | None
    address: str
    revoked: bool
    stands: str


def followers_of(job: Job, today: date) -> list[Follower]:
    mine = {link.contact_id: link for link in job.links.all()}
    return [_follower(contact, mine.get(contact.pk), today) for contact in job.client.contacts.all()]


def _follower(contact: Contact, link: Link | None, today: date) -> Follower:
    if link is None:
        return Follower(contact, None, "", False, "Has no link to this job.")
    address = links.address_for(link) if links.opens(link, today) else ""
    words = f"{stands(link, today)} {asked(link, contact, today)}".rstrip()
    return Follower(contact, link.pk, address, link.revoked_at is not None, words)


def stands(link: Link, today: date) -> str:
    """Until when it opens, and when it was opened last. By whom nobody knows: mail programs look at links too."""
    if link.revoked_at:
        return "The link was revoked and no longer opens."
    if not link.expires_on:
        opens = "The link opens until you revoke it."
    elif link.expires_on < today:
        opens = f"The link no longer opens: its last day was {short_day(link.expires_on, today)}."
    else:
        last = "today" if link.expires_on == today else short_day(link.expires_on, today)
        opens = f"The link opens until the end of {last}."
    if not link.opened_on:
        return f"{opens} Nobody has opened it yet."
    return f"{opens} The page was opened last on {short_day(link.opened_on, today)}."


def asked(link: Link, contact: Contact, today: date) -> str:
    if not link.letters_stopped_at:
        return ""
    return f"{contact} asked for no more letters on {short_day(timezone.localdate(link.letters_stopped_at), today)}."
