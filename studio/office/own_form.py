"""The form by which the demo is left: the studio's name, zone and usual hours, and its first lead."""

from collections.abc import Iterable
from itertools import groupby
from typing import Any

from django import forms

from studio.office.forms import NewPersonForm, PasswordForm, words, zones
from studio.office.spans import DAYS, SpansField
from studio.workshop.models import Person, Week

# One or two of each stretch of the globe; all others stand below them.
OFTEN = (
    "Europe/London",
    "Europe/Dublin",
    "Europe/Lisbon",
    "Europe/Paris",
    "Europe/Berlin",
    "Europe/Athens",
    "Africa/Johannesburg",
    "Asia/Kolkata",
    "Asia/Singapore",
    "Asia/Tokyo",
    "Australia/Sydney",
    "Pacific/Auckland",
    "America/New_York",
    "America/Chicago",
    "America/Denver",
    "America/Los_Angeles",
    "America/Sao_Paulo",
)
WORKING_DAYS = DAYS[:5]


def _listed(found: Iterable[str]) -> list[tuple[str, str]]:
    return [(zone, zone.replace("_", " ")) for zone in found]


def zone_choices(own: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """``own`` first, whatever it is; then those that are wanted often, then all, by their part of the world."""
    known = zones()
    often = [own, *(zone for zone in OFTEN if zone in known and zone != own)]
    parts = groupby(known, key=lambda zone: zone.partition("/")[0])
    return [("Often wanted", _listed(often)), *((part, _listed(found)) for part, found in parts)]


class OwnStudioForm(PasswordForm):
    field_order = ("name", "time_zone", "hours", "days", "lead", "email", "password", "again")

    name = words("Name of the studio", 80, "Stands on every page and in every letter.")
    time_zone = forms.ChoiceField(label="Time zone")
    hours = SpansField(label="Usual hours", help_text="From and to, without the breaks: 8‑12:30, 13‑17.")
    days = forms.MultipleChoiceField(
        label="On which days",
        choices=[(day, day) for day in DAYS],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one day, or nothing can be planned."},
    )
    lead = words("Your name", 60, "As it stands in the office and in letters.")
    email = forms.EmailField(
        label="Your e-mail address",
        max_length=200,
        help_text="You sign in with it.",
        widget=forms.EmailInput({"autocomplete": "username"}),
        error_messages=NewPersonForm.declared_fields["email"].error_messages,
    )

    def __init__(self, data: Any = None, *, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        self.fields["time_zone"].choices = zone_choices(initial["time_zone"])  # type: ignore[attr-defined]

    def whose(self) -> Person:
        return Person(name=self.cleaned_data.get("lead", ""), email=self.cleaned_data.get("email", ""))

    def week(self) -> Week:
        return [self.cleaned_data["hours"] if day in self.cleaned_data["days"] else [] for day in DAYS]

    def parts(self) -> list[tuple[str, list[forms.BoundField]]]:
        """What is asked of the studio, and of whoever leads it."""
        every = self.visible_fields()
        return [("The studio", every[:4]), ("Its first lead", every[4:])]
