"""The outbox folder: a copy of each letter as it left, named by the letter's id. Until mail is set up, it is where they go."""

import os
from collections.abc import Iterator
from email.message import EmailMessage
from pathlib import Path
from uuid import UUID

from django.conf import settings


def path(letter_id: UUID) -> Path:
    return Path(settings.OUTBOX) / f"{letter_id}.eml"


def put(mail: EmailMessage, letter_id: UUID) -> None:
    """Writes one file named by the letter's id: written again after a crash, it is the same file."""
    place = path(letter_id)
    draft = place.with_suffix(".writing")
    draft.touch(mode=0o600)
    with draft.open("wb") as file:
        file.write(mail.as_bytes())
        file.flush()
        os.fsync(file.fileno())
    draft.replace(place)


def files() -> Iterator[Path]:
    """Every letter that lies there, and those that were cut off while they were written. Its stem is the letter's id."""
    yield from (path for path in Path(settings.OUTBOX).iterdir() if path.suffix in {".eml", ".writing"})
