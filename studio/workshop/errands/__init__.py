"""The errand row: asked for inside a transaction, claimed by one worker, fenced, done once.

Celery only nudges. A nudge may arrive twice, late or never: a claim is one conditional UPDATE, and the sweep nudges
again what was missed. Times are arguments throughout.
"""

import logging
import socket
from datetime import datetime, timedelta
from functools import partial
from uuid import UUID

from django.db import transaction
from django.db.models import Case, F, Max, Q, Value, When
from django.db.models.functions import Greatest, Least

from studio.celery import app
from studio.workshop.errands.claimants import is_gone, me
from studio.workshop.errands.terms import TERMS, TO_MANY
from studio.workshop.models import UNDERWAY, Errand, ErrandState, Kind

log = logging.getLogger(__name__)

LEASE_MARGIN_S = 15
NUDGE_AGAIN_S = 20
DEAF_S = 60


class Fenced(Exception):
    """The lease was lost while the work was done: somebody else has the errand now, and this answer is dropped."""


def ask(kind: Kind, subject: str, *, due_at: datetime, now: datetime) -> None:
    """Writes that something must happen, in the caller's transaction.

    Asked again while it waits, only its hour moves; while it runs, it will run once more. Asked again at the very same
    instant, as an action does that writes many rows, it is one asking.
    """
    key = f"{kind}:{subject}"
    same = Errand.objects.filter(key=key)
    if gather := _gather(kind):
        due_at += gather
        # It will begin after this and see what was changed; it is never put off, so that it does begin. Written though nothing
        # may change, for the row is then kept from a worker until the caller's transaction ends.
        waiting = same.filter(state=ErrandState.WAITING, strikes=0)
        if waiting.update(asked_at=now, due_at=Least(F("due_at"), Value(due_at))):
            return
    elif same.filter(state=ErrandState.WAITING, asked_at=now, due_at=due_at).exists():
        return
    if same.filter(state__in=UNDERWAY).update(again=True, due_at=due_at, asked_at=now):
        return
    standing = same.exclude(state=ErrandState.DONE)
    if not standing.update(state=ErrandState.WAITING, asked_at=now, due_at=due_at, strikes=0, error="", nudged_at=None):
        Errand.objects.bulk_create(
            [Errand(kind=kind, key=key, subject=subject, asked_at=now, due_at=due_at)], ignore_conflicts=True
        )
    if due_at <= now + gather:
        for errand in standing.filter(state=ErrandState.WAITING):
            nudge_after_commit(errand, now)


def _gather(kind: Kind) -> timedelta:
    return timedelta(seconds=TERMS[kind].gather_s)


def ask_daily(kind: Kind, now: datetime) -> None:
    """For housekeeping that nobody asks for: once in 24 hours, whatever came of the last time."""
    if not Errand.objects.filter(kind=kind, asked_at__gt=now - timedelta(days=1)).exists():
        with transaction.atomic():
            ask(kind, "daily", due_at=now, now=now)


def drop(kind: Kind, subject: str, *, now: datetime) -> bool:
    """Takes an errand back that has not begun. False where it has, or where there is none."""
    waiting = Errand.objects.filter(key=f"{kind}:{subject}").filter(state__in=[ErrandState.WAITING, ErrandState.FAILED])
    return bool(waiting.update(state=ErrandState.DONE, done_at=now, error="Taken back before it began."))


def nudge_after_commit(errand: Errand, now: datetime) -> None:
    Errand.objects.filter(pk=errand.pk).update(nudged_at=now)
    wait_s = max(0.0, (errand.due_at - now).total_seconds())
    transaction.on_commit(partial(_publish, errand.pk, Kind(errand.kind), wait_s), robust=True)


def _publish(errand_id: UUID, kind: Kind, wait_s: float) -> None:
    terms = TERMS[kind]
    try:
        app.send_task(
            "studio.run_errand",
            (str(errand_id),),
            queue=terms.queue,
            soft_time_limit=terms.soft_s,
            time_limit=terms.hard_s,
            countdown=wait_s or None,
        )
    except Exception as error:  # whatever a broker raises: the row stands, and the sweep will find it
        log.warning("errand %s waits: the broker did not take the nudge (%s)", errand_id, type(error).__name__)


def claim(errand_id: UUID, now: datetime) -> Errand | None:
    """This process has the errand, or nobody gets it here: None where it is done, running elsewhere, or not due."""
    for errand in Errand.objects.filter(pk=errand_id, state__in=UNDERWAY):
        _free_if_dead(errand)
    known = Errand.objects.filter(pk=errand_id).first()
    if known is None:  # a nudge so late that the row was tidied away
        return None
    terms = TERMS[Kind(known.kind)]
    due = Errand.objects.filter(pk=errand_id, state=ErrandState.WAITING, due_at__lte=now)
    claimed = due.update(
        state=ErrandState.RUNNING,
        attempts=F("attempts") + 1,
        claimed_at=now,
        claimant=me(),
        lease_until=now + timedelta(seconds=terms.hard_s + LEASE_MARGIN_S),
        again=False,
    )
    return Errand.objects.get(pk=errand_id) if claimed else None


def _mine(errand: Errand) -> Q:
    return Q(pk=errand.pk, attempts=errand.attempts, state__in=UNDERWAY)


def begin_handing(errand: Errand) -> None:
    """From here on nobody can know whether it was done, but by its end. Raises Fenced."""
    mine = Errand.objects.filter(_mine(errand), state=ErrandState.RUNNING)
    if not mine.update(state=ErrandState.HANDING):
        raise Fenced(str(errand.pk))


def leave_unknown(errand: Errand, sentence: str) -> bool:
    """For a person to look at; never done again by itself. False where it had not begun to be handed over."""
    handing = Errand.objects.filter(_mine(errand), state=ErrandState.HANDING)
    return bool(handing.update(state=ErrandState.UNKNOWN, lease_until=None, error=sentence[:300]))


def finish(errand: Errand, now: datetime) -> None:
    """Call inside the transaction that keeps the result. Raises Fenced, and so undoes it, where the lease was lost."""
    once_more = When(again=True, then=Value(ErrandState.WAITING))
    ended = Errand.objects.filter(_mine(errand)).update(  # one statement, so that no asking falls between two
        state=Case(once_more, default=Value(ErrandState.DONE)),
        done_at=Case(When(again=True, then=F("done_at")), default=Value(now)),
        strikes=0,
        lease_until=None,
        nudged_at=None,
        error="",
    )
    if not ended:
        raise Fenced(str(errand.pk))
    soon = now + _gather(Kind(errand.kind))
    for waiting in Errand.objects.filter(pk=errand.pk, state=ErrandState.WAITING, due_at__lte=soon):
        nudge_after_commit(waiting, now)


def is_no_more(errand: Errand) -> bool:
    """Its row was thrown away while somebody was at it, as all of the demo's are when it is left."""
    return not Errand.objects.filter(pk=errand.pk).exists()


def give_back(errand: Errand, sentence: str, now: datetime) -> bool:
    """An attempt that surely came to nothing: tried again later, or, after its last wait, failed and shown to the lead.

    Returns whether it has failed for good.
    """
    strikes, waits_s = errand.strikes + 1, TERMS[Kind(errand.kind)].waits_s
    failed = strikes > len(waits_s)
    wait_s = 0 if failed else waits_s[strikes - 1]
    Errand.objects.filter(_mine(errand)).update(
        state=ErrandState.FAILED if failed else ErrandState.WAITING,
        strikes=strikes,
        due_at=Greatest(F("due_at"), Value(now + timedelta(seconds=wait_s))),
        lease_until=None,
        nudged_at=None,
        error=sentence[:300],
        put_off=False,
    )
    return failed


def give_up(errand: Errand, sentence: str) -> None:
    """Trying again would change nothing: failed at once, and shown to the lead."""
    Errand.objects.filter(_mine(errand)).update(state=ErrandState.FAILED, lease_until=None, error=sentence[:300])


def put_off(errand: Errand, sentence: str, now: datetime) -> None:
    """Nobody's letter is taken just now. This one is tried again, and the others that are due wait for that instead of each
    finding out by itself. The waits grow from one to the next, whichever letter it is that asks."""
    waiting = Errand.objects.filter(kind__in=TO_MANY, state=ErrandState.WAITING)
    errand.strikes = max(errand.strikes, waiting.filter(put_off=True).aggregate(most=Max("strikes"))["most"] or 0)
    give_back(errand, sentence, now)
    for tried in waiting.filter(pk=errand.pk):
        waiting.filter(pk=errand.pk).update(put_off=True)
        others = waiting.filter(strikes=0, due_at__lte=now)
        others.update(due_at=tried.due_at, nudged_at=None, error=sentence[:300], put_off=True)


def bring_forward(now: datetime) -> None:
    """A mail server that takes letters again gets those that were put off."""
    waiting = Errand.objects.filter(kind__in=TO_MANY, state=ErrandState.WAITING, put_off=True)
    found = list(waiting[:200])
    waiting.update(due_at=now, nudged_at=None, strikes=0, error="", put_off=False)
    for errand in found:
        nudge_after_commit(errand, now)


def put_away(errand_id: UUID, now: datetime) -> Errand | None:
    """A person says that a failed or unknown errand is not to be done any more. None where it is neither."""
    failed = Errand.objects.filter(pk=errand_id, state__in=[ErrandState.FAILED, ErrandState.UNKNOWN])
    if not failed.update(state=ErrandState.DONE, done_at=now):
        return None
    return Errand.objects.get(pk=errand_id)


def try_again(errand_id: UUID, now: datetime, due_at: datetime | None = None) -> bool:
    """A person asks for a failed errand once more, at once unless told."""
    failed = Errand.objects.filter(pk=errand_id, state__in=[ErrandState.FAILED, ErrandState.UNKNOWN])
    asked = failed.update(state=ErrandState.WAITING, strikes=0, due_at=due_at or now, nudged_at=None, error="")
    if asked:
        nudge_after_commit(Errand.objects.get(pk=errand_id), now)
    return bool(asked)


def try_failed(kind: Kind, subject: str, *, due_at: datetime, now: datetime) -> bool:
    """What it failed for was mended. Returns whether it had failed."""
    failed = Errand.objects.filter(kind=kind, subject=subject, state=ErrandState.FAILED).first()
    return failed is not None and try_again(failed.pk, now, due_at)


def sweep(now: datetime) -> int:
    """Frees lost leases and nudges what is due and was not nudged lately. Returns how many it nudged."""
    free_dead(now)
    stale = now - timedelta(seconds=NUDGE_AGAIN_S)
    missed = Errand.objects.filter(state=ErrandState.WAITING, due_at__lte=now).filter(
        Q(nudged_at=None) | Q(nudged_at__lt=stale)
    )
    found = list(missed[:200])
    with transaction.atomic():
        for errand in found:
            nudge_after_commit(errand, now)
    return len(found)


def free_dead(now: datetime) -> int:
    """Frees the errands of claimants on this machine that are gone, and of any whose lease has run out."""
    running = Errand.objects.filter(state__in=UNDERWAY)
    freed = sum(_free_if_dead(errand) for errand in running.filter(claimant__startswith=f"{socket.gethostname()}:"))
    for errand in running.filter(lease_until__lt=now):
        freed += _free(errand)
    return freed


def _free_if_dead(errand: Errand) -> bool:
    return is_gone(errand.claimant) and _free(errand)


def _free(errand: Errand) -> bool:
    """What had begun to be handed over is unknown from now on; the rest is done again."""
    if leave_unknown(errand, "The machine stopped in the very moment in which it was handed over."):
        return True
    strikes = errand.strikes + 1
    state = ErrandState.FAILED if strikes > len(TERMS[Kind(errand.kind)].waits_s) else ErrandState.WAITING
    error = "It was cut off each time it was tried." if state == ErrandState.FAILED else ""
    return bool(
        Errand.objects.filter(_mine(errand)).update(
            state=state, strikes=strikes, lease_until=None, nudged_at=None, error=error
        )
    )


def overdue_pids(now: datetime) -> list[int]:
    """Processes of this machine that work past their hard limit: for workers that no Celery limit stops."""
    margin = timedelta(seconds=LEASE_MARGIN_S)
    here = f"{socket.gethostname()}:"
    late = Errand.objects.filter(
        state__in=UNDERWAY, lease_until__lt=now + margin, claimant__startswith=here
    ).values_list("claimant", flat=True)
    return [int(claimant.rsplit(":", 2)[1]) for claimant in late]


def deaf(now: datetime, queue: str = "") -> bool:
    """Some errand, of this queue where one is named, has been due for a minute, and in that minute none was claimed or finished."""
    since = now - timedelta(seconds=DEAF_S)
    asked = Errand.objects.filter(kind__in=[kind for kind, terms in TERMS.items() if queue in {"", terms.queue}])
    stuck = asked.filter(state=ErrandState.WAITING, due_at__lt=since, asked_at__lt=since)
    moved = asked.filter(Q(claimed_at__gte=since) | Q(done_at__gte=since))
    return stuck.exists() and not moved.exists()
