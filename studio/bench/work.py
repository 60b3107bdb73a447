"""What the form of one stage shows."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from studio.bench import stuck_words, words
from studio.bench.forms import MOST_LETTERS
from studio.workshop.models import Photo, PhotoState, Piece, Stage
from studio.workshop.photos import Picture, picture


def work(stage: Stage, now: datetime, *, sentence: str = "", for_client: bool = True) -> dict[str, Any]:
    """Each time it is shown it has an id of its own."""
    last, last_when = _last_photo(stage.piece, now)
    return {
        "stage": stage,
        "entry_id": uuid4(),
        "sentence": sentence,
        "for_client": for_client,
        "most_letters": MOST_LETTERS,
        "last": last,
        "last_when": last_when,
        "answers": [] if stage.done_at else stuck_words.answers(stage, now),
    }


def _last_photo(piece: Piece, now: datetime) -> tuple[Picture | None, str]:
    photos = Photo.objects.standing().filter(stage__piece=piece, state=PhotoState.DEVELOPED)
    named = photos.select_related("stage__kind").only("at", "stage__title", "stage__kind__name")
    newest = named.prefetch_related("renditions").order_by("-at", "-id").first()
    if newest is None:
        return None, ""
    return picture(newest, f"{piece}, {newest.stage}"), words.when(newest.at, now)
