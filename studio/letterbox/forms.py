"""The shape of what is sent by those who come in. Whether it may be done is for the actions to say."""

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from studio.workshop.models import Person

# Why one is refused, by Django's codes, in words that say what to do.
_REFUSED = {
    "password_too_similar": _("It is too much like your name or address. Make up another."),
    "password_too_short": _("It is too short. Write at least ten characters."),
    "password_too_common": _("Too many people use that one. Make up another."),
}


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
        password: str = self.cleaned_data["password"]
        try:
            validate_password(password, self.person)
        except ValidationError as refused:
            raise ValidationError([_REFUSED.get(str(one.code), one) for one in refused.error_list]) from None
        return password

    def clean_again(self) -> str:
        again: str = self.cleaned_data["again"]
        if "password" in self.cleaned_data and self.cleaned_data["password"] != again:
            raise ValidationError(_("The two are not the same. Write both again."))
        return again


class ChangedPassword(ChosenPassword):
    old = forms.CharField(
        max_length=200, strip=False, error_messages={"required": _("Write the password that you have.")}
    )
