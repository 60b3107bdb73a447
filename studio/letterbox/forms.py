"""The shape of what is sent by those who come in. Whether it may be done is for the actions to say."""

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _


class ChosenPassword(forms.Form):
    """A new one, typed twice."""

    password = forms.CharField(
        max_length=200, strip=False, error_messages={"required": _("Write the password that you choose.")}
    )
    again = forms.CharField(max_length=200, strip=False, error_messages={"required": _("Write it once more.")})

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        validate_password(password)
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
