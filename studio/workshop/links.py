"""Clients' links: the token is computed from the row with a key, and never stored."""

import base64
import hashlib
import hmac
import re
from datetime import date

from django.conf import settings

from studio.workshop.models import Link

_SIGNATURE_LENGTH = 24
_TOKEN = re.compile(r"([0-9a-z]{1,16})\.([0-9A-Za-z_-]{24})")  # a public id, a dot, and base64url (RFC 4648, section 5)
_NOBODY = ("0000000000", "")


def keys() -> list[str]:
    """The first signs; the others are earlier ones, whose signatures are still good."""
    return [settings.LINK_KEY, *settings.LINK_KEY_FALLBACKS]


def sign(text: str) -> str:
    """24 characters that only the studio can write under this text. What texts say must never mean two things."""
    return _signature(text, keys()[0])


def signed(text: str, given: str) -> bool:
    """Whether the studio wrote ``given`` under this text, with whichever of its keys; a wrong one takes as long."""
    good = [hmac.compare_digest(_signature(text, key).encode(), given.encode(errors="replace")) for key in keys()]
    return any(good)


def _signature(text: str, key: str) -> str:
    digest = hmac.new(key.encode(), text.encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(digest).decode()[:_SIGNATURE_LENGTH]


def token_for(link: Link) -> str:
    return f"{link.public_id}.{sign(_text(link.public_id, link.version))}"


def _text(public_id: str, version: int) -> str:
    return f"{public_id}:{version}"


def path_for(link: Link) -> str:
    return f"/with/{token_for(link)}/"


def address_for(link: Link) -> str:
    return f"{settings.ADDRESS}{path_for(link)}"


def stop_path_for(link: Link) -> str:
    """Where its contact ends the letters about its job. It opens as long as the link is there, also once that is revoked:
    who wants no more letters may say so late."""
    return f"/letterbox/stop/{link.public_id}.{sign(f'stop:{link.public_id}')}/"


def stop_address_for(link: Link) -> str:
    return f"{settings.ADDRESS}{stop_path_for(link)}"


def opens(link: Link, today: date) -> bool:
    """Whether its address opens the page: it was not revoked, and its last day, where it has one, is not over."""
    return link.revoked_at is None and (link.expires_on is None or link.expires_on >= today)


def link_for(token: str, today: date) -> Link | None:
    """The link that a token opens. Malformed, unknown, forged, revoked and expired do the same work and say the same."""
    shape = _TOKEN.fullmatch(token)
    public_id, given = shape.groups() if shape else _NOBODY
    link = Link.objects.filter(public_id=public_id).select_related("contact", "job__client").first()
    good = signed(_text(public_id, link.version if link else 0), given)
    return link if link and good and opens(link, today) else None


def link_to_stop(token: str) -> Link | None:
    """The link whose letters a token of ``stop_address_for`` ends."""
    shape = _TOKEN.fullmatch(token)
    public_id, given = shape.groups() if shape else _NOBODY
    link = Link.objects.filter(public_id=public_id).select_related("contact", "job").first()
    return link if signed(f"stop:{public_id}", given) else None
