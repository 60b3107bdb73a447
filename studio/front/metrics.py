"""What is under way, as Prometheus reads it (text exposition format 0.0.4)."""

from collections.abc import Iterator, Mapping
from datetime import datetime

from django.core.cache import cache
from django.db.models import Count, Min

from studio.front import closed_doors, throttle
from studio.workshop.models import UNDERWAY, Errand, ErrandState, Kind, Letter, LetterState, Photo, PhotoState

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
_STATES = {
    "waiting": (ErrandState.WAITING,),
    "underway": UNDERWAY,
    "unknown": (ErrandState.UNKNOWN,),
    "failed": (ErrandState.FAILED,),
}
Values = Mapping[tuple[tuple[str, str], ...], float]  # by the labels


def told(now: datetime) -> str:
    """In four questions to the database, however much there is."""
    return "".join(
        [
            *_family("studio_errands", "gauge", "What must happen outside of a request.", _errands()),
            *_family("studio_oldest_due_seconds", "gauge", "For how long the oldest due errand waits.", _oldest(now)),
            *_family("studio_photos_waiting", "gauge", "Photos that are not developed yet.", _photos()),
            *_family("studio_letters", "gauge", "Letters in the record.", _letters()),
            *_family("studio_sign_in_failures_total", "counter", "Tries to sign in.", _counted(throttle.FAILURES)),
            *_family("studio_closed_doors_total", "counter", "Links that did not open.", _counted(closed_doors.TOTAL)),
        ]
    )


def _family(name: str, kind: str, words: str, values: Values) -> Iterator[str]:
    yield f"# HELP {name} {words}\n# TYPE {name} {kind}\n"
    for labels, value in values.items():
        written = ",".join(f'{label}="{meaning}"' for label, meaning in labels)
        yield f"{name}{'{' + written + '}' if written else ''} {value:g}\n"


def _errands() -> Values:
    """Each kind in each state, also where there is none, so that an alarm has something to compare."""
    rows = Errand.objects.exclude(state=ErrandState.DONE).values_list("kind", "state").annotate(Count("pk")).order_by()
    found = {(kind, state): count for kind, state, count in rows}
    return {
        (("kind", kind.value), ("state", word)): sum(found.get((kind.value, state.value), 0) for state in states)
        for kind in Kind
        for word, states in _STATES.items()
    }


def _oldest(now: datetime) -> Values:
    due = Errand.objects.filter(state=ErrandState.WAITING, due_at__lte=now).aggregate(first=Min("due_at"))["first"]
    return {(): (now - due).total_seconds() if due else 0}


def _photos() -> Values:
    return {(): Photo.objects.filter(state=PhotoState.WAITING).count()}


def _letters() -> Values:
    found = dict(Letter.objects.values_list("state").annotate(Count("pk")).order_by())
    return {(("state", state.value),): found.get(state.value, 0) for state in LetterState}


def _counted(key: str) -> Values:
    """Since the cache began. A cache that does not answer must not hide the rest."""
    try:
        return {(): cache.get(key) or 0}
    except Exception:  # whatever a cache raises
        return {}
