"""What time went to: when somebody was at a stage, by what was logged.

Whoever takes a photo of a stage is at it from then on. Who logs one as done goes back to what they had begun last and have not
done. What is stuck takes nobody's time.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import NamedTuple

EVER = datetime.max.replace(tzinfo=UTC)


class Event(NamedTuple):
    at: datetime
    stage: int
    done: bool


class Span(NamedTuple):
    """``until`` is EVER where somebody still is."""

    person: int
    since: datetime
    until: datetime


def spent(
    events: Mapping[int, Iterable[Event]], stuck: Mapping[int, Iterable[tuple[datetime, datetime]]]
) -> dict[int, list[Span]]:
    """By stage. ``events`` are by person; ``stuck`` is when each stage was."""
    found: dict[int, list[Span]] = defaultdict(list)
    for person, logged in events.items():
        begun: list[int] = []  # they are at the last of them
        since = EVER
        for at, stage, done in sorted(logged):
            if begun:
                found[begun[-1]].append(Span(person, since, at))
            begun = [other for other in begun if other != stage] + ([] if done else [stage])
            since = at
        if begun:
            found[begun[-1]].append(Span(person, since, EVER))
    return {stage: _without(spans, stuck.get(stage, ())) for stage, spans in found.items()}


def _without(spans: list[Span], stuck: Iterable[tuple[datetime, datetime]]) -> list[Span]:
    for first, last in stuck:
        before = [span._replace(until=min(span.until, first)) for span in spans]
        after = [span._replace(since=max(span.since, last)) for span in spans]
        spans = [span for span in (*before, *after) if span.since < span.until]
    return sorted(spans)
