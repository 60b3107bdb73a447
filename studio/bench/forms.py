"""What a maker's form says, by its shape alone."""

from django import forms

from studio.workshop.models import Entry, Says

MOST_LETTERS = Entry._meta.get_field("sentence").max_length


class Log(forms.Form):
    """The photos come beside it, as any number of files named ``photos``."""

    entry = forms.UUIDField()
    says = forms.ChoiceField(choices=Says.choices)
    sentence = forms.CharField(required=False)
    eyes = forms.ChoiceField(required=False, choices=[("client", "the client"), ("us", "us only")])

    def clean_sentence(self) -> str:
        """One line: a browser counts a line's end as one letter and sends two."""
        sentence = " ".join(self.cleaned_data["sentence"].split())
        if MOST_LETTERS and len(sentence) > MOST_LETTERS:
            raise forms.ValidationError("", code="too_long")
        return sentence

    @property
    def for_client(self) -> bool:
        return bool(self.cleaned_data["eyes"] != "us")
