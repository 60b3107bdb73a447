"""What the bench says of a stage that is stuck: what it needs, who said so, who gets word, and what was answered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from studio.bench.words import logged_at
from studio.workshop.models import STANDING, Entry, Errand, ErrandState, Kind, Needs, Person, Says, Stage, Stuck

NEEDS = {
    Needs.HAND: gettext_lazy("it needs a hand"),
    Needs.MATERIAL: gettext_lazy("it needs material"),
    Needs.ANSWER: gettext_lazy("it needs an answer"),
    Needs.BROKE: gettext_lazy("it broke"),
}
CHOICES = (
    (Needs.HAND, gettext_lazy("A hand")),
    (Needs.MATERIAL, gettext_lazy("Material")),
    (Needs.ANSWER, gettext_lazy("An answer")),
    (Needs.BROKE, gettext_lazy("It broke")),
)


@dataclass(frozen=True)
class Held:
    """A stage that is stuck. ``value`` is what its form sends, ``needs`` how a sentence says it."""

    stuck: int
    value: str
    needs: str
    by: str
    since: str
    said: tuple[str, ...]


def held(stage: Stage, now: datetime) -> Held | None:
    """What holds a stage, with the words of all who have said so; None where nothing does."""
    stuck = Stuck.objects.standing().filter(stage=stage).select_related("entry__by").first()
    return _held(stuck, now) if stuck else None


def _held(stuck: Stuck, now: datetime) -> Held:
    entries = Entry.objects.filter(stage=stuck.stage_id, says=Says.STUCK, taken_back_at=None, at__gte=stuck.at)
    said = tuple(
        _spoken(entry.by, entry.at, f"“{entry.sentence}”", now)
        for entry in entries.exclude(sentence="").select_related("by")
    )
    needs, since = str(NEEDS[Needs(stuck.needs)]), logged_at(stuck.at, now)
    return Held(stuck.pk, stuck.needs, needs, stuck.entry.by.name, since, said)


def answers(stage: Stage, now: datetime) -> list[str]:
    """What was told to whoever was stuck here, in its order; nothing while it is stuck anew, for that is not answered."""
    said = list(Stuck.objects.filter(stage=stage).select_related("answered_by", "entry").order_by("answered_at"))
    if any(stuck.answered_at is None for stuck in said):
        return []
    return [_ended(stuck, now) for stuck in said if stuck.answer and not stuck.entry.taken_back_at]


def _ended(stuck: Stuck, now: datetime) -> str:
    """Who let it go on, and with which words; empty while nobody has."""
    if stuck.answered_by is None or stuck.answered_at is None:
        return ""
    if stuck.answer:
        return _spoken(stuck.answered_by, stuck.answered_at, stuck.answer, now)
    told = {"name": stuck.answered_by.name, "time": logged_at(stuck.answered_at, now)}
    return _("%(name)s, %(time)s: it goes on.") % told


def _spoken(who: Person, at: datetime, words: str, now: datetime) -> str:
    return _("%(name)s, %(time)s: %(words)s") % {"name": who.name, "time": logged_at(at, now), "words": words}


def about(entry: Entry, now: datetime) -> dict[str, Any]:
    """For the page of one who said that a stage is stuck: whether it still is, and who gets word."""
    since = Stuck.objects.filter(stage=entry.stage_id, at__lte=entry.at).select_related("entry__by", "answered_by")
    stuck = since.order_by("-at", "-id")[0]  # what this entry said, or was added to
    closed = entry.stage.piece.job.closed_on is not None
    return {
        "needs": NEEDS[Needs(stuck.needs)],
        "added": stuck.entry_id != entry.pk,
        "held": None if entry.taken_back_at or stuck.answered_at or closed else _held(stuck, now),
        "ended": _ended(stuck, now),
        "letter_sentences": _letter_sentences(stuck, entry, now),
    }


def _letter_sentences(stuck: Stuck, entry: Entry, now: datetime) -> list[str]:
    if stuck.entry_id != entry.pk:
        told = {"name": stuck.entry.by.name, "time": logged_at(stuck.at, now)}
        return [_("%(name)s said so at %(time)s, and what you add is kept with it.") % told]
    letters = list(stuck.letters.select_related("person"))
    had = [letter.person.name for letter in letters if letter.person]
    if entry.taken_back_at:
        gone = _("A letter about it had gone to %(names)s. The page it leads to says that it was taken back.")
        return [gone % {"names": _names(had)}] if had else []
    said = []
    if had:
        sentence = ngettext("%(names)s had a letter at %(time)s.", "%(names)s had letters at %(time)s.", len(had))
        said.append(sentence % {"names": _names(had), "time": logged_at(letters[0].sent_at, now)})
    going, held_up = _still_to_tell(stuck)
    if going:
        sentence = ngettext("%(names)s gets a letter.", "%(names)s get a letter.", len(going))
        said.append(sentence % {"names": _names(going)})
    if held_up:
        said.append(_("The letter to %(names)s is held up. The office says why.") % {"names": _names(held_up)})
    return said if said or stuck.answered_at else [_("It stands first in the office. No letter goes.")]


def _still_to_tell(stuck: Stuck) -> tuple[list[str], list[str]]:
    """Who gets a letter, and whose is held up."""
    ended = (ErrandState.FAILED, ErrandState.UNKNOWN)
    errands = Errand.objects.filter(kind=Kind.TELL_LEAD, subject__startswith=f"{stuck.pk}-")
    states = dict(errands.filter(state__in=[*STANDING, *ended]).values_list("subject", "state"))
    leads = {int(subject.partition("-")[2]): state for subject, state in states.items()}
    people = list(Person.objects.filter(pk__in=leads)) if leads else []
    going = [person.name for person in people if leads[person.pk] not in ended]
    return going, [person.name for person in people if leads[person.pk] in ended]


def _names(names: Sequence[str]) -> str:
    return get_text_list(list(names), _("and"))
