"""The shape of what is sent by those who come in. Whether it may be done is for the actions to say."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from studio.front.passwords import good_enough
from studio.workshop.models import Person


class ChosenPassword(forms.Form):
    """A new one, typed twice."""

    password = forms.CharField(
        max_length=200, strip=False, error_messages={"required": _("Write the password that you choose.")}
    )
    again = forms.CharField(max_length=200, strip=False, error_messages={"required": _("Write it once more.")})

    def __init__(self, data: Any, *, person: Person) -> None:
        super().__init__(data)
        self.person = person

    def clean_password(self) -> str:
        return good_enough(self.cleaned_data["password"], self.person)

    def clean_again(self) -> str:
        again: str = self.cleaned_data["again"]
        if "password" in self.cleaned_data and self.cleaned_data["password"] != again:
            raise ValidationError(_("The two are not the same. Write both again."))
        return again


class ChangedPassword(ChosenPassword):
    old = forms.CharField(
        max_length=200, strip=False, error_messages={"required": _("Write the password that you have.")}
    )
