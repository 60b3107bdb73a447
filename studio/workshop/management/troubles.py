"""What keeps a command from its work, in one sentence that says what to do."""

import errno
import shutil

from django.conf import settings
from django.db import Error, connection

from studio.workshop import actions
from studio.workshop.photos import DiskFull

LEAST_ROOM_BYTES = 5_000_000  # with less, whatever went wrong went wrong for that
TROUBLES = (Error, OSError, DiskFull, actions.Refused)


def in_words(error: Exception) -> str:
    """SQLite and a full disk say many things, of which some name neither."""
    cause = error.__cause__ if isinstance(error, DiskFull) else error
    number = cause.errno if isinstance(cause, OSError) else None
    free = shutil.disk_usage(settings.DATA).free
    if number in {errno.ENOSPC, errno.EDQUOT} or (number is None and free < LEAST_ROOM_BYTES):
        return f"The disk of {settings.DATA} is full. Make room and start again, or choose another folder with --data."
    if isinstance(error, actions.Refused):
        return str(error)
    if isinstance(cause, OSError):
        return f"{cause.filename or settings.DATA} cannot be used ({cause.strerror}). Put that right and start again."
    advice = "Look at STUDIO_DATABASE_URL." if connection.vendor == "postgresql" else "Try another folder with --data."
    return f"The database cannot be used. {advice} It said: {' '.join(str(error).split())}"
