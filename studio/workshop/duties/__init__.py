"""What each kind of errand does. Work outside any transaction; then one transaction keeps the result and ends the errand."""

import errno
import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from celery.exceptions import SoftTimeLimitExceeded
from django.db import transaction

from studio.workshop import errands, mail
from studio.workshop.duties import letters, photos, plan, tidying
from studio.workshop.duties.plan import ask_for_todays_plan
from studio.workshop.letters import CannotWrite
from studio.workshop.models import Errand, Kind

__all__ = ["DUTIES", "ask_for_todays_plan", "run"]
log = logging.getLogger(__name__)

Clock = Callable[[], datetime]


@dataclass(frozen=True)
class Duty:
    """``work`` may take its time and holds no lock; ``keep`` writes what came of it, inside the closing transaction."""

    work: Callable[[Errand, datetime], Any]
    keep: Callable[[Errand, Any, datetime], None]


def run(errand_id: UUID, clock: Clock) -> None:
    """Claims an errand and does it; a nudge that comes twice or too late finds nothing to claim. Never raises for a
    duty that failed: the row says so, and once in the log."""
    errand = errands.claim(errand_id, clock())
    if errand is None:
        return
    duty = DUTIES[Kind(errand.kind)]
    try:
        result = duty.work(errand, clock())
        with transaction.atomic():
            duty.keep(errand, result, clock())
            errands.finish(errand, clock())
    except errands.Fenced:
        log.info("errand %s went to another worker meanwhile", errand.pk)
    except (Exception, SoftTimeLimitExceeded) as error:
        if errands.is_no_more(errand):
            log.info("errand %s was thrown away meanwhile", errand.pk)
        else:
            _came_to_nothing(errand, error, clock)


def _came_to_nothing(errand: Errand, error: Exception, clock: Clock) -> None:
    """Failed, put off, unknown or tried again: the row says so, and once in the log."""
    if isinstance(error, CannotWrite):
        errands.give_up(errand, str(error))
        log.warning("errand %s failed: no letter could be written", errand.pk)
        return
    if isinstance(error, mail.Refusal):
        errands.give_up(errand, str(error))
        log.warning("errand %s failed: the mail server refused the letter", errand.pk)
        return
    if isinstance(error, mail.NotNow):
        put_off = errands.put_off if error.everybody else errands.give_back
        put_off(errand, str(error), clock())
        log.warning("errand %s waits: the mail server did not take the letter", errand.pk)
        return
    sentence = _sentence(error)
    if errands.leave_unknown(errand, sentence):
        told = None if isinstance(error, mail.NobodyKnows) else error  # the row says all of that one
        log.error("errand %s is unknown: it was being handed over", errand.pk, exc_info=told)
        return
    failed = errands.give_back(errand, sentence, clock())
    if errand.strikes == 0:  # with its reason once, however often it is tried
        full = isinstance(error, OSError) and error.errno in {errno.ENOSPC, errno.EDQUOT}
        why, trace = (": the disk is full. Make room", None) if full else ("", error)
        log.error("errand %s came to nothing and will be tried again%s", errand.pk, why, exc_info=trace)
    elif failed:
        log.error("errand %s failed for good: %s", errand.pk, type(error).__name__)


def _sentence(error: BaseException) -> str:
    if isinstance(error, mail.NobodyKnows):
        return str(error)
    if isinstance(error, SoftTimeLimitExceeded):
        return "It took too long."
    if isinstance(error, OSError) and error.strerror:
        return f"The disk said: {error.strerror}."
    return f"Something went wrong ({type(error).__name__}). The log names errand and reason."


DUTIES = {
    Kind.DEVELOP_PHOTO: Duty(photos.develop, photos.keep),
    Kind.SEND_LETTER: Duty(letters.send, letters.keep_sent),
    Kind.TELL_LEAD: Duty(letters.tell_lead, letters.keep_told),
    Kind.INVITE: Duty(letters.invite, letters.keep_unrecorded),
    Kind.TEST_LETTER: Duty(letters.send_trial, letters.keep_unrecorded),
    Kind.REFRESH_PLAN: Duty(plan.refresh, plan.keep),
    Kind.TIDY_FILES: Duty(tidying.tidy, tidying.keep),
}
