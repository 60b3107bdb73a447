"""Forms of what the plan goes by: hours, days, places, kinds of work, and who does what."""

from typing import Any, cast

from django import forms
from django.db.models import Model

from studio.office.forms import OfficeForm, a_day, long_words, words
from studio.office.spans import DAYS, ClockField, HoursField, SpansField, written_spans
from studio.workshop.models import Person, Place, StageKind, Studio, Week

SETS = (
    "A first guess at 20 °C: the data sheet and the cold decide, and somebody says when it is hard. "
    "Work with resin and solvent follows local rules and whoever is trained for it."
)


class WeekForm(OfficeForm):
    """The hours of a shop's week, a line a day."""

    monday = SpansField(label="Monday", required=False)
    tuesday = SpansField(label="Tuesday", required=False)
    wednesday = SpansField(label="Wednesday", required=False)
    thursday = SpansField(label="Thursday", required=False)
    friday = SpansField(label="Friday", required=False)
    saturday = SpansField(label="Saturday", required=False)
    sunday = SpansField(label="Sunday", required=False)

    def week(self) -> Week:
        return [self.cleaned_data[name.lower()] for name in DAYS]

    def rows(self) -> list[tuple[forms.BoundField, str]]:
        return [(field, theirs) for field, theirs in super().rows() if field.label not in DAYS]

    def days(self) -> list[tuple[forms.BoundField, str]]:
        return [(field, theirs) for field, theirs in super().rows() if field.label in DAYS]

    def show_both(self, row: Model, left_by: str) -> None:
        super().show_both(row, left_by)
        self._show_week(cast(Studio, row).hours, self.week())

    def _show_week(self, theirs: Week, mine: Week) -> None:
        for name, their_day, my_day in zip(DAYS, theirs, mine, strict=True):
            if their_day != my_day:
                self.theirs[name.lower()] = written_spans(their_day) or "none"


def of_week(week: Week) -> dict[str, Any]:
    """What a WeekForm is filled from."""
    return {name.lower(): spans for name, spans in zip(DAYS, week, strict=True)}


class WorkForm(WeekForm):
    """What somebody does and when."""

    in_plan = forms.BooleanField(label="The plan gives them work", required=False)
    skills = forms.ModelMultipleChoiceField(
        label="What they do",
        queryset=StageKind.objects.all(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="No tick at all: everything.",
    )
    shop_hours = forms.BooleanField(
        label="Works the shop's hours", required=False, help_text="Take the tick away to write hours of their own."
    )

    def clean(self) -> dict[str, Any]:
        """What stands in the lines is not read where the shop's hours hold."""
        if self.cleaned_data.get("shop_hours"):
            for name in map(str.lower, DAYS):
                self.errors.pop(name, None)
                self.cleaned_data.setdefault(name, [])
        return self.cleaned_data

    def hours(self) -> Week | None:
        return None if self.cleaned_data["shop_hours"] else self.week()

    def show_both(self, row: Model, left_by: str) -> None:
        OfficeForm.show_both(self, row, left_by)
        theirs, mine = cast(Person, row).hours, self.hours()
        if (theirs is None) != (mine is None):
            self.theirs["shop_hours"] = "Yes" if theirs is None else "No"
        if theirs is not None:
            self._show_week(theirs, self.week())


class ClosureForm(OfficeForm):
    first_day = a_day("First day", required=True)
    last_day = a_day("Last day", "Empty: one day only.")
    name = words("Why", 80, "As it will stand here: summer break.", error_messages={"required": "Say why in a word."})

    def clean(self) -> dict[str, Any]:
        return _one_day(self.cleaned_data)


class AwayForm(OfficeForm):
    first_day = a_day("First day away", required=True)
    last_day = a_day("Last day away", "Empty: one day only.")

    def clean(self) -> dict[str, Any]:
        return _one_day(self.cleaned_data)


def _one_day(typed: dict[str, Any]) -> dict[str, Any]:
    typed["last_day"] = typed.get("last_day") or typed.get("first_day")
    return typed


class LongerForm(OfficeForm):
    first_day = a_day("First day", required=True)
    last_day = a_day("Last day", "Empty: one day only. Days that are not worked are left out.")
    starts = ClockField(label="From", error_messages={"required": "Write the hour like 17:00."})
    ends = ClockField(label="To", error_messages={"required": "Write the hour like 20:00."})

    def clean(self) -> dict[str, Any]:
        return _one_day(self.cleaned_data)


class PlaceForm(OfficeForm):
    name = words("Name", 40, "A bench, a bay, a booth.", error_messages={"required": "Give it a name."})
    capacity = forms.IntegerField(
        label="Pieces at once",
        min_value=1,
        max_value=99,
        help_text="Those that set there count too.",
        error_messages=dict.fromkeys(("required", "invalid", "min_value", "max_value"), "Write a number from 1 to 99."),
    )


class KindForm(OfficeForm):
    name = words("Name", 40, error_messages={"required": "Give it a name."})
    sentence = long_words(
        "The studio's own sentence",
        300,
        "For clients: what this work is, and why it looks rough now. Used where the maker writes none.",
        required=False,
    )
    work_min = HoursField(
        label="Hours of work",
        help_text="For a piece of one metre, for each of those who do it. 6, 6.5 or 6:30.",
    )
    crew = forms.IntegerField(
        label="People at once",
        min_value=1,
        max_value=6,
        error_messages=dict.fromkeys(("required", "invalid", "min_value", "max_value"), "Write a number from 1 to 6."),
    )
    place = forms.ModelChoiceField(
        label="Where", queryset=Place.objects.all(), required=False, empty_label="No place in particular"
    )
    cure_min = HoursField(label="Hours it sets or dries", help_text=SETS)
    cure_holds = forms.BooleanField(label="Its place stays taken while it sets", required=False)
    meets = forms.BooleanField(
        label="The pieces of a job meet here",
        required=False,
        help_text="It begins when all of them have come so far, as at fit-up.",
    )
