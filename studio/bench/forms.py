"""What a maker's form says, by its shape alone. Photos come beside it, as any number of files named ``photos``."""

from django import forms
from django.utils.translation import gettext as _

from studio.workshop.models import Entry, Needs, Says

MOST_LETTERS = Entry._meta.get_field("sentence").max_length


class Said(forms.Form):
    """``entry`` is the random id that makes a form sent twice one thing said."""

    entry = forms.UUIDField()
    sentence = forms.CharField(required=False)

    def clean_sentence(self) -> str:
        """One line: a browser counts a line's end as one letter and sends two."""
        sentence = " ".join(self.cleaned_data["sentence"].split())
        if MOST_LETTERS and len(sentence) > MOST_LETTERS:
            raise forms.ValidationError("", code="too_long")
        return sentence

    @property
    def problem(self) -> str:
        """Why nothing was kept, and what to do."""
        if self.has_error("sentence", "too_long"):
            return _("Say it in at most %(most)d letters, then send it again.") % {"most": MOST_LETTERS}
        return _("That did not arrive whole, so nothing was kept. Send it again.")


class Log(Said):
    """``shown`` is done too, by the button that sends a photo."""

    says = forms.ChoiceField(choices=[(Says.DONE, "done"), ("shown", "done, with a photo"), (Says.PHOTO, "a photo")])
    eyes = forms.ChoiceField(required=False, choices=[("client", "the client"), ("us", "us only")])

    @property
    def told(self) -> Says:
        return Says.PHOTO if self.cleaned_data["says"] == Says.PHOTO else Says.DONE

    @property
    def without_photo(self) -> bool:
        """Whether it is whole without one."""
        return bool(self.cleaned_data["says"] == Says.DONE)

    @property
    def for_client(self) -> bool:
        return bool(self.cleaned_data["eyes"] != "us")


class SayStuck(Said):
    needs = forms.ChoiceField(choices=Needs.choices)
