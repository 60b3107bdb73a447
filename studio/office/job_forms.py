"""The shape of what the office sends about a job, its pieces and their stages."""

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, cast
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.forms.boundfield import BoundWidget
from django.http import QueryDict

from studio.craft.methods import METHODS
from studio.office.day_forms import SETS
from studio.office.forms import OfficeForm, OnceField, a_day, words
from studio.office.spans import HoursField
from studio.workshop.actions.setting_out import MOST_PIECES
from studio.workshop.models import Person, Place, Release, Stage, StageKind, Wanted

OWN = "own"  # no method: the lead sets the stages out
MOST_METRES = 100
MOST_HANDS = 6


class MetresField(forms.Field):
    """A length, asked for in metres and kept in whole millimetres; None where it stays empty."""

    widget = forms.TextInput({"autocomplete": "off", "inputmode": "decimal", "size": 8})

    def to_python(self, value: Any) -> int | None:
        plain = re.sub(r"\s*m$", "", (value or "").strip().lower()).replace(",", ".")
        if not plain:
            return None
        if not re.fullmatch(r"\d{1,9}(\.\d{1,3})?", plain):
            raise ValidationError("Write the longest side in metres, like 2.1.")
        longest = int(Decimal(plain) * 1000)
        if not 0 < longest <= MOST_METRES * 1000:
            raise ValidationError(f"Write more than 0 and at most {MOST_METRES} metres, or leave it empty.")
        return longest

    def prepare_value(self, value: Any) -> Any:
        return f"{Decimal(value) / 1000:f}" if isinstance(value, int) else value


def metres(longest_mm: int | None) -> Decimal | None:
    return Decimal(longest_mm) / 1000 if longest_mm else None


def _size(label: str, help_text: str) -> MetresField:
    return MetresField(label=label, required=False, help_text=help_text)


def _number(label: str, most: int) -> forms.IntegerField:
    wrong = dict.fromkeys(("required", "invalid", "min_value", "max_value"), f"Write a whole number from 1 to {most}.")
    return forms.IntegerField(label=label, min_value=1, max_value=most, error_messages=wrong)


def _methods(last: tuple[str, str]) -> list[tuple[str, str]]:
    """The methods with what each goes through, in the studio's own names for it; a kind that is gone is left out."""
    names = dict(StageKind.objects.exclude(key="").values_list("key", "name"))
    told = []
    for method in METHODS:
        works = [names[key] for key in method.once + method.each if key in names]
        told.append((method.key, f"{method.name}: {', '.join(works)}" if works else method.name))
    return [*told, last]


class NewJobForm(OfficeForm):
    once = OnceField()
    name = words("What is it?", 80, "As the client would say it: Talking watering can.")
    client = words(
        "For whom?", 120, "Choose a client, or write a new name.", widget=forms.TextInput({"list": "clients"})
    )
    wanted_day = a_day("Wanted on", "The day that the client named.")
    method = forms.ChoiceField(
        label="How is it made?",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one. All of it can be changed after."},
    )
    longest_mm = _size("Longest side, in metres", "Of one, such as 2.1. The hours are reckoned from it.")
    number = _number("How many?", MOST_PIECES)

    def __init__(self, data: Any = None, *, initial: dict[str, Any] | None = None) -> None:
        super().__init__(data, initial=initial)
        self.fields["method"].choices = _methods((OWN, "I set the stages out myself"))  # type: ignore[attr-defined]

    def begin_another(self) -> None:
        """Sent again, it is a form of its own."""
        sent = cast(QueryDict, self.data).copy()
        sent["once"] = str(uuid4())
        self.data = sent


class JobForm(OfficeForm):
    name = words("What is it?", 80)
    wanted_day = a_day("Wanted on")
    wanted_means = forms.ChoiceField(
        label="What that day means", choices=Wanted.choices, widget=forms.RadioSelect, initial=Wanted.THERE
    )
    fixed = forms.BooleanField(label="It cannot move: an opening, a get-in", required=False)
    van_day = a_day("Van day", "The day it leaves here. The plan is measured against it.")
    release = forms.ChoiceField(
        label="When do photos go to the client?", choices=Release.choices, widget=forms.RadioSelect
    )
    closed_on = a_day("Closed on", "A closed job leaves the bench. Its client can still open the page.")


class PieceForm(OfficeForm):
    columns = {"note_to_maker": "note"}  # noqa: RUF012 - read only
    name = words("Name", 60, "What stands on its tape: Snail 3.")
    note_to_maker = words("Note to the maker", 140, "One line at the top of their page.", required=False)
    longest_mm = _size(
        "Longest side, in metres", "Such as 2.1. The hours of stages that are added are reckoned from it."
    )
    stands_alone = forms.BooleanField(
        label="It stands by itself",
        required=False,
        help_text="It does not wait for the other pieces at fit-up, nor they for it.",
    )


class NewPieceForm(PieceForm):
    once = OnceField()
    method = forms.ChoiceField(label="How is it made?", widget=forms.RadioSelect, required=False, initial=OWN)
    kinds = forms.ModelMultipleChoiceField(
        label="Stages it goes through",
        queryset=StageKind.objects.all(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="In the order of the work. More can be added later, and moved.",
    )

    def __init__(self, data: Any = None, *, initial: dict[str, Any] | None = None) -> None:
        super().__init__(data, initial=initial)
        self.fields["method"].choices = _methods((OWN, "Only what I tick below"))  # type: ignore[attr-defined]


class WhichStageForm(OfficeForm):
    kind = forms.ModelChoiceField(label="Kind of work", queryset=StageKind.objects.all(), empty_label="Choose one")
    title = words("What exactly", 60, "Only where the kind alone does not say it: second coat.", required=False)
    maker = forms.ModelChoiceField(
        label="Who does it",
        queryset=Person.objects.filter(is_active=True),
        required=False,
        empty_label="Whoever is free",
    )


class NewStageForm(WhichStageForm):
    once = OnceField()


class StagesField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]  # takes none when it runs
    def label_from_instance(self, obj: Stage) -> str:
        return f"{obj} of {obj.piece}"


class StageForm(WhichStageForm):
    """``others`` are the other stages of the job, with their pieces, in order; ``said`` is when the rest was told."""

    work_min = HoursField(label="Hours of work", help_text="Of each who does it: 6, 6.5 or 6:30.")
    left_min = HoursField(label="Hours still to do", empty=None, help_text="What the maker says is left.")
    crew = _number("People at once", MOST_HANDS)
    place = forms.ModelChoiceField(label="Place", queryset=Place.objects.all(), required=False, empty_label="Anywhere")
    cure_min = HoursField(label="Hours it sets or dries", help_text=f"Through nights and weekends. {SETS}")
    cure_holds = forms.BooleanField(label="Its place stays taken while it sets", required=False)
    due_on = a_day("Must be done by", "A day of its own, such as a colour sample for the client.")
    follows = StagesField(
        label="Choose what it follows",
        queryset=Stage.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "One of these stages is gone. Choose from those that are here."},
    )

    def __init__(
        self,
        data: Any = None,
        *,
        initial: dict[str, Any] | None = None,
        others: Sequence[Stage] = (),
        said: str = "",
    ) -> None:
        super().__init__(data, initial=initial)
        self.fields["left_min"].help_text = said or "What the maker says is left."
        self.others = others
        follows = cast(StagesField, self.fields["follows"])
        follows.queryset = Stage.objects.filter(pk__in=[other.pk for other in others]).select_related("kind", "piece")
        follows.choices = [(other.pk, str(other)) for other in others]

    def parts(self) -> list[tuple[str, list[tuple[forms.BoundField, str]]]]:
        """The fields under headings, in the order of the page; what it follows comes by itself."""
        names = {
            "The work": ("kind", "title", "maker"),
            "How long, and where": ("work_min", "left_min", "crew", "place"),
            "Afterwards": ("cure_min", "cure_holds", "due_on"),
        }
        return [(heading, [(self[name], self.theirs.get(name, "")) for name in of]) for heading, of in names.items()]

    def ticks(self) -> list[tuple[str, list[BoundWidget]]]:
        """The ticks of what it follows, by piece."""
        found: dict[int, tuple[str, list[BoundWidget]]] = {}
        for other, tick in zip(self.others, self["follows"].subwidgets, strict=True):
            found.setdefault(other.piece_id, (str(other.piece), []))[1].append(tick)
        return list(found.values())

    @property
    def chosen(self) -> bool:
        """Whether the ticks want to be seen: somebody made a choice, or there is something to say about it."""
        return bool(self["follows"].value() or self["follows"].errors or "follows" in self.theirs)


class FinishForm(OfficeForm):
    """Who finished a stage, and when, in the studio's own zone."""

    entry = OnceField()
    whose = forms.ModelChoiceField(
        label="Who did it",
        queryset=Person.objects.filter(is_active=True),
        empty_label="Choose one",
        error_messages={"required": "Choose who did it."},
    )
    day = a_day("Day it was finished", required=True)
    hour = forms.TimeField(
        label="Hour",
        widget=forms.TimeInput({"type": "time"}, format="%H:%M"),
        error_messages=dict.fromkeys(("required", "invalid"), "Write the hour like 16:00."),
    )
