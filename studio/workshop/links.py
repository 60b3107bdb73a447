"""Clients' links: the token is computed from the row with a key, and never stored."""

import base64
import hashlib
import hmac
from datetime import date

from django.conf import settings
from django.db.models import Q

from studio.workshop.models import Link

_SIGNATURE_LENGTH = 24
_NOBODY = "0000000000"


def _signature(public_id: str, version: int, key: str) -> str:
    digest = hmac.new(key.encode(), f"{public_id}:{version}".encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(digest).decode()[:_SIGNATURE_LENGTH]


def token_for(link: Link) -> str:
    return f"{link.public_id}.{_signature(link.public_id, link.version, settings.LINK_KEY)}"


def path_for(link: Link) -> str:
    return f"/with/{token_for(link)}/"


def address_for(link: Link) -> str:
    return f"{settings.ADDRESS}{path_for(link)}"


def stop_address_for(link: Link) -> str:
    """Where its contact ends the letters about its job. It opens as long as the link is there, also once that is revoked:
    who wants no more letters may say so late."""
    return f"{settings.ADDRESS}/letterbox/stop/{link.public_id}.{_signature(link.public_id, 0, settings.LINK_KEY)}/"


def link_to_stop(token: str) -> Link | None:
    public_id, _, given = token.partition(".")
    link = Link.objects.filter(public_id=public_id[:16]).select_related("contact", "job").first()
    known = link.public_id if link else _NOBODY
    keys = [settings.LINK_KEY, *settings.LINK_KEY_FALLBACKS]
    good = [hmac.compare_digest(_signature(known, 0, key).encode(), given.encode()) for key in keys]
    return link if link and any(good) else None


def link_for(token: str, today: date) -> Link | None:
    """The standing link that a token opens. Unknown, forged, revoked and expired do the same work and say the same."""
    public_id, _, given = token.partition(".")
    standing = Q(revoked_at=None) & (Q(expires_on=None) | Q(expires_on__gte=today))
    link = Link.objects.filter(standing, public_id=public_id[:16]).select_related("contact", "job__client").first()
    version = link.version if link else 0
    known = link.public_id if link else _NOBODY
    keys = [settings.LINK_KEY, *settings.LINK_KEY_FALLBACKS]
    good = [hmac.compare_digest(_signature(known, version, key).encode(), given.encode()) for key in keys]
    return link if link and any(good) else None
