"""The two keys: whether they stand in files of the data folder, and marks that tell link keys apart."""

import hmac
from pathlib import Path

from django.conf import settings

SETTINGS = {"link.key": "LINK_KEY", "secret.key": "SECRET_KEY"}


def place(name: str) -> Path:
    return Path(settings.DATA) / name


def in_file(name: str) -> bool:
    """Whether the key that is in use stands in this file; else it came from the environment."""
    try:
        return bool(place(name).read_text().strip() == getattr(settings, SETTINGS[name]))
    except OSError:
        return False


def link_marks(key: str = "") -> list[str]:
    """Of the key that signs links, or of another in its place; and of the earlier ones. They give no key away."""
    keys = [key or settings.LINK_KEY, *settings.LINK_KEY_FALLBACKS]
    return [hmac.new(one.encode(), b"the mark of a link key", "sha256").hexdigest()[:8] for one in keys]
