"""The lying rule: one job's plank on a level line of worked days, against an upright where its van stands.

The upright is at the same place on every line, so that the eye compares along it. All here is drawing: whatever a line
shows stands in words beside it. Positions are worked days from the end of the upright's day, negative before it.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate
from math import inf

from django.utils.safestring import SafeString, mark_safe

from studio.office.wording import bare_day

SPAN = 20  # worked days on a line, so that one is at least 14 px on a narrow phone
LEAST_BEFORE, LEAST_AFTER, MOST_AFTER = 9, 3, 6
ROOM = 3  # days to the right of what is over, for its own words
STUB = 0.7  # what is drawn of a plank that lies beyond the line
APART = 2.7  # labels that stand nearer than this many days would touch
FURTHEST = 72  # weeks counted either way; what lies beyond stands at the end

TOP, FOOT, EDGE, WORDS = 19, 39, 42, 65  # of the plank, the edge of the rule under it, and the words under that; px


class WorkedDays:
    """Counts the days on which the shop works, as the plan does: any hours on that weekday, and not closed."""

    def __init__(self, hours: Sequence[Collection[object]], closed: Iterable[tuple[date, date]], today: date) -> None:
        self._first = first = today - timedelta(today.weekday(), weeks=FURTHEST)
        works = [bool(day) for day in hours] * 2 * FURTHEST  # from a Monday on
        for start, end in closed:
            a, b = (min(max(number, 0), len(works)) for number in ((start - first).days, (end - first).days + 1))
            works[a:b] = [False] * (b - a)
        self._upto = list(accumulate(works, initial=0))
        self._weeks = self._upto[::7]

    def between(self, after: date, upto: date) -> int:
        """Days later than ``after`` and not later than ``upto``; negative the other way round."""
        return self._before(upto) - self._before(after)

    def _before(self, day: date) -> int:
        return self._upto[min(max((day - self._first).days + 1, 0), len(self._upto) - 1)]

    def works(self, day: date) -> bool:
        return self.between(day - timedelta(1), day) > 0

    def mondays(self, zero: date) -> tuple[tuple[int, str], ...]:
        """Where the weeks around a day begin, counted from its end, as far as any line shows them; those that are closed
        throughout are left out. None around a day that lies beyond all that is counted."""
        if not 0 <= (zero - self._first).days < len(self._upto) - 1:
            return ()
        from_zero = self._before(zero)
        first, last = from_zero - SPAN, from_zero + MOST_AFTER
        weeks = range(bisect_right(self._weeks, first), bisect_left(self._weeks, last))
        return tuple(
            (self._weeks[week] - from_zero, bare_day(self._first + timedelta(7 * week)))
            for week in weeks
            if self._weeks[week : week + 2] != [self._weeks[week]] * 2
        )


@dataclass(frozen=True)
class Line:
    """``today``: where the work that is left begins; ``ready``: where it ends, None where nobody knows.

    ``upright`` is the label under it, empty for none: then the line begins with today. ``hand``: the worked days between
    ready and the upright, either way; None where they are not known. ``mondays``: where weeks begin, with their day.
    """

    today: float
    ready: float | None
    upright: str
    hand: int | None
    held: bool
    mondays: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Scale:
    """Worked days to be seen before and after the upright."""

    before: int
    after: int

    def at(self, days: float) -> str:
        return self.wide(days + self.before)

    def wide(self, days: float) -> str:
        return f"{100 * days / (self.before + self.after):.4g}%"


def line(
    days: WorkedDays,
    today: date,
    ready: date | None,
    due: date | None,
    hand: int | None,
    held: bool,
    *,
    cut: bool = False,
) -> Line:
    """``ready`` and ``hand`` are the plan's; ``due`` is the day of the upright. ``cut``: over by more than ``hand`` says."""
    begins = today - timedelta(1)
    if due is None:
        end = None if ready is None else float(max(days.between(begins, ready), 1))
        return Line(0, end, "", None, held, days.mondays(begins))
    end = None if ready is None or hand is None else float(-hand)
    if ready and ready > due and end == 0:  # after the van, but before the shop opens again
        end = 0.5
    if end is not None and cut:
        end, hand = inf, None
    return Line(days.between(due, begins), end, bare_day(due), hand, held, days.mondays(due))


def scale(lines: Collection[Line]) -> Scale:
    """One for all of them: wide enough for what is over, and for where today lies, within a span that a phone can show."""
    upright = [one for one in lines if one.upright]
    most_over = max((one.ready for one in upright if one.ready is not None), default=0)
    after = int(min(max(most_over + ROOM, LEAST_AFTER), MOST_AFTER))
    furthest = max((-one.today for one in upright), default=SPAN)
    return Scale(int(min(max(furthest + 1, LEAST_BEFORE), SPAN - after)), after)


def shapes(on: Scale) -> SafeString:
    """What all lines of a page are drawn with: the rule with a tick a worked day, grain and hatching, arrow heads, torn ends."""
    days = on.before + on.after
    ticks = "".join(f"M{day} 0v6" for day in range(days + 1))
    middle = (TOP + FOOT) // 2
    return mark_safe(  # noqa: S308 - numbers of our own
        '<svg class="shapes" width="0" height="0" aria-hidden="true" focusable="false"><defs>'
        f'<symbol id="rule" viewBox="0 0 {days} 6" preserveAspectRatio="none"><path class="lie-day" d="{ticks}"/></symbol>'
        '<pattern id="wood" width="170" height="80" patternUnits="userSpaceOnUse"><path class="wood" d="M0 0h170v80H0z"/>'
        '<path class="grain" d="M0 23c30 0 45-3 85-2s55 2 85 2M0 31c20 0 40 3 70 1s60-4 100-1M98 27c20-1 30 2 44 1"/></pattern>'
        '<pattern id="over" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<path class="wood" d="M0 0h6v6H0z"/><path class="hatch" d="M0 0v6"/></pattern>'
        '<marker id="tip" viewBox="0 0 7 6" refX="7" refY="3" markerWidth="7" markerHeight="6" markerUnits="userSpaceOnUse" '
        'orient="auto-start-reverse"><path class="tip" d="M0 .5 7 3 0 5.5z"/></marker>'
        f'<g id="torn"><path class="lie-bare" d="M-6 {TOP - 2}h8l3 6-5 4 5 5-4 4 3 5h-10z"/>'
        f'<path class="lie-rip" d="M2 {TOP - 1}l3 5-5 4 5 5-4 4 2 5"/></g>'
        f'<g id="ripped"><use href="#torn" transform="rotate(180 0 {middle})"/></g>'
        f'<path id="chalk" class="lie-now" d="M1 {TOP - 5}C-1 {TOP + 5} 2 {FOOT - 6} 0 {EDGE + 7}"/>'
        "</defs></svg>"
    )


def drawing(told: Line, on: Scale) -> SafeString:
    return mark_safe(  # noqa: S308 - numbers and days of our own
        f'<svg class="lie" width="100%" height="{WORDS + 3}" aria-hidden="true" focusable="false">{"".join(_drawn(told, on))}</svg>'
    )


def _drawn(told: Line, on: Scale) -> Iterator[str]:
    zero = 0 if told.upright else -on.before  # without an upright the line begins with today
    today = told.today + zero
    shown = -on.before <= today <= on.after
    near = bool(told.upright) and shown and abs(today) < APART
    yield f'<use href="#rule" y="{EDGE}" width="100%" height="6"/><line class="edge" x2="100%" y1="{EDGE}" y2="{EDGE}"/>'
    for at, label in told.mondays:
        apart = all(abs(at + zero - other) > APART for other in ((today, 0) if told.upright else (today,)))
        yield from _monday(at + zero, label if apart else "", on)
    if told.ready is not None:
        yield from _plank(today, told.ready + zero, told, on)
    if told.upright:
        x = on.at(0)
        side = (" start" if today < 0 else " end") if near else ""
        yield f'<line class="pin" x1="{x}" x2="{x}" y1="5" y2="{EDGE + 10}"/><circle class="ball" cx="{x}" cy="5" r="4.5"/>'
        yield f'<text class="van{side}" x="{x}"{_aside(side)} y="{WORDS}">{told.upright}</text>'
    if shown:
        x = on.at(today)
        left = today < 1 - on.before or (near and today >= 0)
        side = " start" if left else " end" if near or today > on.after - 1 else ""
        yield f'<use href="#chalk" x="{x}"/><text class="now{side}" x="{x}"{_aside(side) if near else ""} y="{WORDS}">today</text>'


def _aside(side: str) -> str:
    """So that two that stand back to back do not touch."""
    return {" start": ' dx="5"', " end": ' dx="-5"'}.get(side, "")


def _monday(at: float, label: str, on: Scale) -> Iterator[str]:
    if -on.before < at < on.after:
        x = on.at(at)
        yield f'<line class="wk" x1="{x}" x2="{x}" y1="{EDGE}" y2="{EDGE + 10}"/>'
        if label and 1.3 - on.before < at < on.after - 1.3:
            yield f'<text x="{x}" y="{WORDS}">{label}</text>'


def _plank(start: float, end: float, told: Line, on: Scale) -> Iterator[str]:
    """From where the work begins to where it ends; past the upright it is over. Torn where it goes on beyond the line."""
    start = min(start, end - STUB)
    low = min(max(start, -on.before), on.after - STUB)
    high = max(min(end, on.after), low + STUB)
    held = " held" if told.held else ""
    over = bool(told.upright) and end > 0
    if low < 0 or not over:
        yield _board("wood", f"plank{held}", low, min(high, 0) if over else high, on)
    if over:
        yield _board("over", f"plank late{held}", max(low, 0), high, on)
    if start < -on.before:
        yield f'<use href="#torn" x="{on.at(low)}"/>'
    if end > on.after or end < low:
        yield f'<use href="#ripped" x="{on.at(high)}"/>'
    if over:
        yield _dimension("late", 0, high, 13, on)
        if told.hand is None:
            return
        room = high <= on.after - ROOM + 0.5  # in half a day more the words still stand clear
        side = (
            f'class="late {"start" if room else "end"}" x="{on.at(high)}" dx="{"7" if room else "-14"}" y="{FOOT - 5}"'
        )
        yield f"<text {side}>{_many(told.hand, unit=room)}</text>"
    elif told.upright and told.hand:
        yield _dimension("gap", high, 0, 31, on)
        unit = told.hand * 2 > APART * 2
        yield f'<text class="gap" x="{on.at(max(high, -on.before) / 2)}" y="26">{_many(told.hand, unit=unit)}</text>'


def _board(of: str, kind: str, low: float, high: float, on: Scale) -> str:
    """``held`` is an open frame with its cross brace: nobody knows yet whether it will stand there."""
    x, width, held = on.at(low), on.wide(high - low), "held" in kind
    fill = "none" if held else f"url(#{of})"
    board = f'<rect class="{kind}" fill="{fill}" x="{x}" width="{width}" y="{TOP}" height="{FOOT - TOP}"/>'
    if not held:
        return board
    return board + "".join(
        f'<line class="brace" x1="{x}" x2="{on.at(high)}" y1="{a}" y2="{b}"/>' for a, b in ((TOP, FOOT), (FOOT, TOP))
    )


def _dimension(kind: str, low: float, high: float, y: int, on: Scale) -> str:
    ends = f'x1="{on.at(low)}" x2="{on.at(high)}" y1="{y}" y2="{y}"'
    return f'<line class="{kind}" {ends} marker-start="url(#tip)" marker-end="url(#tip)"/>'


def _many(hand: int, *, unit: bool) -> str:
    """``3 days``, its unit only where there is room."""
    told = str(abs(hand)) if hand else "½"
    return f"{told}<tspan> day{'' if told in {'1', '½'} else 's'}</tspan>" if unit else told
