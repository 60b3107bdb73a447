"""The shape of what the office sends. Whether it may be done is for the actions to say."""

import functools
from collections.abc import Mapping
from datetime import date
from typing import Any, cast
from uuid import UUID, uuid4
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import (
    MaxLengthValidator,
    MaxValueValidator,
    MinValueValidator,
    ProhibitNullCharactersValidator,
)
from django.db.models import Manager, Model, QuerySet
from django.http import QueryDict

from studio.front.passwords import good_enough
from studio.office.wording import short_day
from studio.workshop.models import Person, Role


class OfficeForm(forms.Form):
    """Carries the version of the row it was drawn from. After a stale save it shows both texts, field by field."""

    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    columns: Mapping[str, str] = {}  # a field whose column in the row is called something else

    def __init__(self, data: Any = None, *, initial: dict[str, Any] | None = None) -> None:
        # Several forms stand on one page, so an id begins with the form's name.
        super().__init__(data, initial=initial, auto_id=f"{type(self).__name__.lower()}-%s", label_suffix="")
        self.theirs: dict[str, str] = {}
        self.left_by = ""
        for field in self.fields.values():
            _say_what_to_do(field)

    def clean_version(self) -> int:
        return self.cleaned_data.get("version") or 0

    def rows(self) -> list[tuple[forms.BoundField, str]]:
        """Each field to be seen, with what somebody else wrote in it meanwhile."""
        return [(field, self.theirs.get(field.name, "")) for field in self.visible_fields()]

    def show_both(self, row: Model, left_by: str) -> None:
        self.left_by = left_by
        for field in self.visible_fields():
            column = self.columns.get(field.name, field.name)
            if not hasattr(row, column):
                continue
            theirs, mine = _plain(getattr(row, column)), _plain(self.cleaned_data[field.name])
            if theirs != mine:
                self.theirs[field.name] = _told(field.field, theirs)
        sent = cast(QueryDict, self.data).copy()
        # Words to the client have no version: they are never changed, only followed, so their own number says it.
        sent["version"] = str(getattr(row, "version", row.pk))
        self.data = sent


_WHAT_TO_DO = {
    "required": "This cannot stay empty. Write it in.",
    "invalid_choice": "That is not there any more. Choose one of those that are here.",
    "invalid": "Write a whole number.",
}


def _say_what_to_do(field: forms.Field) -> None:
    """Where a field has no sentence of its own, one of ours instead of the framework's."""
    theirs = {**type(field).default_error_messages, **forms.Field.default_error_messages}
    for code, sentence in _WHAT_TO_DO.items():
        if code in field.error_messages and field.error_messages[code] == theirs.get(code):
            field.error_messages[code] = sentence
    for validator in field.validators:
        if isinstance(validator, MaxLengthValidator):
            validator.message = "Say it in at most %(limit_value)d letters; it has %(show_value)d."
        elif isinstance(validator, ProhibitNullCharactersValidator):
            validator.message = "There is a character in it that cannot be kept. Write it again by hand."


def _plain(value: Any) -> Any:
    """Several rows, in a field or of a row, as a list of them in one order."""
    if isinstance(value, Manager | QuerySet):
        return sorted(value.all(), key=lambda row: row.pk)
    return value


def _told(field: forms.Field, value: Any) -> str:
    if isinstance(field, forms.ModelMultipleChoiceField):
        return ", ".join(map(field.label_from_instance, value)) or "(nothing)"
    if isinstance(field, forms.ModelChoiceField):
        return str(value or "(nothing)")
    if isinstance(field, forms.ChoiceField):
        value = dict(field.choices).get(value, value)  # type: ignore[arg-type]
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if isinstance(value, date):
        return short_day(value, date.min)  # with its year
    value = field.prepare_value(value)
    return str(value) if value not in {None, ""} else "(nothing)"


class OnceField(forms.UUIDField):
    """The random id that a form was drawn with, so that sending it twice is once. Any other answer gets a new one."""

    widget = forms.HiddenInput

    def clean(self, value: Any) -> UUID:
        try:
            return cast(UUID, super().clean(value))
        except ValidationError:
            return uuid4()


class OneLine(forms.CharField):
    """A name is one line, whatever was pasted."""

    def to_python(self, value: Any) -> str:
        return " ".join(str(super().to_python(value) or "").split())


def words(label: str, most: int, help_text: str = "", **options: Any) -> forms.CharField:
    return OneLine(label=label, max_length=most, help_text=help_text, **options)


def long_words(label: str, most: int, help_text: str = "", **options: Any) -> forms.CharField:
    area = forms.Textarea({"rows": 3})
    return forms.CharField(label=label, max_length=most, help_text=help_text, widget=area, **options)


_SANE = ((MinValueValidator, date(2000, 1, 1)), (MaxValueValidator, date(2099, 12, 31)))


def a_day(label: str, help_text: str = "", *, required: bool = False) -> forms.DateField:
    widget = forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    wrong = dict.fromkeys(("invalid", "required"), "Write the day like 2026-12-04.")
    sane = [check(day, "Write a day between 2000 and 2099.") for check, day in _SANE]
    return forms.DateField(
        label=label, help_text=help_text, required=required, widget=widget, error_messages=wrong, validators=sane
    )


class WordsForm(OfficeForm):
    words = long_words("What the client reads", 400, "When it is expected, what is next, what you need from them.")


class ClientForm(OfficeForm):
    name = words("Name", 120, "The theatre, the museum, the school.")


class ContactForm(OfficeForm):
    name = words("Name", 80)
    email = forms.EmailField(
        label="E-mail address",
        max_length=200,
        required=False,
        help_text="Without one they have the page, but get no letters.",
        error_messages={"invalid": "Write the whole address, such as name@theatre.example."},
    )


class LinkForm(OfficeForm):
    """A link has no version of its own kind: the day that it had when the form was drawn tells whether it is stale."""

    was = forms.DateField(required=False, widget=forms.HiddenInput)
    expires_on = a_day("The last day on which it opens", "Leave it empty, and it opens until you revoke it.")

    def show_both(self, row: Model, left_by: str) -> None:
        super().show_both(row, left_by)
        self.data["was"] = getattr(row, "expires_on", None) or ""  # type: ignore[index]  # a copy of what was sent


class NewPersonForm(OfficeForm):
    name = words("Name", 60)
    email = forms.EmailField(
        label="E-mail address",
        max_length=200,
        help_text="They sign in with it.",
        error_messages={"invalid": "Write the whole address, such as name@yard.example."},
    )
    role = forms.ChoiceField(label="What they do", choices=Role.choices, widget=forms.RadioSelect, initial=Role.MAKER)


class PersonForm(NewPersonForm):
    is_active = forms.BooleanField(
        label="May sign in", required=False, help_text="Take the tick away when somebody leaves. What they did stays."
    )


class PasswordForm(OfficeForm):
    password = forms.CharField(
        label="New password",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text="At least ten characters, and none of the common ones.",
    )
    again = forms.CharField(
        label="The same once more",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )

    def whose(self) -> Person:
        """It may not be like their name or address."""
        return cast(Person, self.initial["person"])

    def clean_password(self) -> str:
        return good_enough(self.cleaned_data["password"], self.whose())

    def clean_again(self) -> str:
        again: str = self.cleaned_data["again"]
        if "password" in self.cleaned_data and self.cleaned_data["password"] != again:
            raise ValidationError("The two are not the same. Write both again.")
        return again


class StudioForm(OfficeForm):
    name = words("Name of the studio", 80, "Stands on every page and in every letter.")
    time_zone = words("Time zone", 60, "Such as Europe/London.", widget=forms.TextInput({"list": "zones"}))
    undo_minutes = forms.IntegerField(
        label="Minutes before a letter leaves",
        min_value=0,
        max_value=1440,
        error_messages=dict.fromkeys(("min_value", "max_value"), "Write a number of minutes from 0 to 1440."),
        help_text="So long it can be taken back.",
    )


class SentenceForm(OfficeForm):
    """What the lead makes of the maker's sentence while looking at a photo."""

    sentence = long_words("What the client reads with it", 300, required=False)


@functools.cache  # the system's whole folder of zones is read for it
def zones() -> tuple[str, ...]:
    return tuple(sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/")))
