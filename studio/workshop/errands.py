"""The errand row: asked for inside a transaction, claimed by one worker, fenced, done once.

Celery only nudges. A nudge may arrive twice, late or never: a claim is one conditional UPDATE, and the sweep nudges
again what was missed. Times are arguments throughout.
"""

import logging
import os
import socket
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from uuid import UUID

from django.db import transaction
from django.db.models import Case, F, Q, Value, When
from django.db.models.functions import Greatest, Least

from studio.celery import app
from studio.workshop.models import Errand, ErrandState, Kind

log = logging.getLogger(__name__)

MOST_STRIKES = 8
LEASE_MARGIN_S = 15
NUDGE_AGAIN_S = 20
DEAF_S = 60


@dataclass(frozen=True)
class Terms:
    """How a kind of errand runs: its queue, and the seconds after which it is asked, then made, to stop; and how long it
    waits for more of the same, so that many askings become one."""

    queue: str
    soft_s: int
    hard_s: int
    gather_s: int = 0


TERMS = {
    Kind.DEVELOP_PHOTO: Terms("photos", 20, 30),
    Kind.SEND_LETTER: Terms("letters", 60, 90),
    Kind.TELL_LEAD: Terms("letters", 60, 90),
    Kind.REFRESH_PLAN: Terms("letters", 60, 90, gather_s=2),
    Kind.TIDY_FILES: Terms("letters", 60, 90),
}


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
    if same.filter(state=ErrandState.RUNNING).update(again=True, due_at=due_at, asked_at=now):
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
    for errand in Errand.objects.filter(pk=errand_id, state=ErrandState.RUNNING):
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
        claimant=_me(),
        lease_until=now + timedelta(seconds=terms.hard_s + LEASE_MARGIN_S),
        again=False,
    )
    return Errand.objects.get(pk=errand_id) if claimed else None


def _mine(errand: Errand) -> Q:
    return Q(pk=errand.pk, attempts=errand.attempts, state=ErrandState.RUNNING)


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


def give_back(errand: Errand, sentence: str, now: datetime) -> bool:
    """An attempt that came to nothing: tried again later, or, after MOST_STRIKES, failed and shown to the lead.

    Returns whether it has failed for good.
    """
    strikes = errand.strikes + 1
    failed = strikes >= MOST_STRIKES
    Errand.objects.filter(_mine(errand)).update(
        state=ErrandState.FAILED if failed else ErrandState.WAITING,
        strikes=strikes,
        due_at=Greatest(F("due_at"), Value(now + timedelta(seconds=min(2**strikes, 300)))),
        lease_until=None,
        nudged_at=None,
        error=sentence[:300],
    )
    return failed


def give_up(errand: Errand, sentence: str) -> None:
    """Trying again would change nothing: failed at once, and shown to the lead."""
    Errand.objects.filter(_mine(errand)).update(state=ErrandState.FAILED, lease_until=None, error=sentence[:300])


def put_away(errand_id: UUID, now: datetime) -> Errand | None:
    """A person says that a failed or unknown errand is not to be done any more. None where it is neither."""
    failed = Errand.objects.filter(pk=errand_id, state__in=[ErrandState.FAILED, ErrandState.UNKNOWN])
    if not failed.update(state=ErrandState.DONE, done_at=now):
        return None
    return Errand.objects.get(pk=errand_id)


def try_again(errand_id: UUID, now: datetime) -> bool:
    """A person asks for a failed errand once more."""
    failed = Errand.objects.filter(pk=errand_id, state__in=[ErrandState.FAILED, ErrandState.UNKNOWN])
    asked = failed.update(state=ErrandState.WAITING, strikes=0, due_at=now, nudged_at=None, error="")
    if asked:
        nudge_after_commit(Errand.objects.get(pk=errand_id), now)
    return bool(asked)


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
    running = Errand.objects.filter(state=ErrandState.RUNNING)
    freed = sum(_free_if_dead(errand) for errand in running.filter(claimant__startswith=f"{socket.gethostname()}:"))
    for errand in running.filter(lease_until__lt=now):
        freed += _free(errand)
    return freed


def _free_if_dead(errand: Errand) -> bool:
    host, pid, birth = errand.claimant.rsplit(":", 2)
    if host != socket.gethostname() or _birth(int(pid)) == birth:
        return False
    return _free(errand)


def _free(errand: Errand) -> bool:
    strikes = errand.strikes + 1
    state = ErrandState.FAILED if strikes >= MOST_STRIKES else ErrandState.WAITING
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
        state=ErrandState.RUNNING, lease_until__lt=now + margin, claimant__startswith=here
    ).values_list("claimant", flat=True)
    return [int(claimant.rsplit(":", 2)[1]) for claimant in late]


def deaf(now: datetime) -> bool:
    """Some errand has been due for a minute, and in that minute none was claimed or finished."""
    since = now - timedelta(seconds=DEAF_S)
    stuck = Errand.objects.filter(state=ErrandState.WAITING, due_at__lt=since, asked_at__lt=since)
    moved = Errand.objects.filter(Q(claimed_at__gte=since) | Q(done_at__gte=since))
    return stuck.exists() and not moved.exists()


def _birth(pid: int) -> str:
    """When a process began, as the kernel counts it: tells a process from a later one that got its number."""
    if Path("/proc/self/stat").exists():
        try:
            state, *rest = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return "gone"
        return "gone" if state == "Z" else rest[18]
    try:
        os.kill(pid, 0)
    except OSError:
        return "gone"
    return "alive"


def _me() -> str:
    return f"{socket.gethostname()}:{os.getpid()}:{_birth(os.getpid())}"
