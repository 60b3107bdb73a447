"""Keys: which come from the environment and which from files of the data folder, and marks that tell link keys apart."""

import hmac
from pathlib import Path

from django.conf import settings

from studio import env, keys

FILES = {
    "link.key": "LINK_KEY",
    "secret.key": "SECRET_KEY",
}  # the setting that each is for, were it not given otherwise; the key of the metrics opens nothing that lasts, and is made anew
EARLIER = "LINK_KEY_FALLBACKS"


def place(name: str) -> Path:
    return Path(settings.DATA) / name


def in_files() -> list[str]:
    """The files whose keys are in use; link.key holds earlier ones, too."""
    return [name for name, setting in FILES.items() if not env.text(setting)]


def from_environment() -> list[str]:
    return [f"{env.PREFIX}{setting}" for setting in (*FILES.values(), EARLIER) if env.text(setting)]


def link_marks() -> list[str]:
    """Of each key that opens links from the next start on, the one that signs first. They give no key away."""
    found = [*keys.every("LINK_KEY", place("link.key")), *keys.earlier(EARLIER)]
    return [hmac.new(key.encode(), b"the mark of a link key", "sha256").hexdigest()[:8] for key in found]
