"""What may be a password, and, in words that say what to do, why one may not."""

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from studio.workshop.models import Person

# Why one is refused, by Django's codes.
_REFUSED = {
    "password_too_similar": _("It is too much like your name or address. Make up another."),
    "password_too_short": _("It is too short. Write at least ten characters."),
    "password_too_common": _("Too many people use that one. Make up another."),
}


def good_enough(password: str, person: Person) -> str:
    """The password itself. Raises ValidationError; ``person`` need not be kept yet, their name and address are what counts."""
    try:
        validate_password(password, person)
    except ValidationError as refused:
        raise ValidationError([_REFUSED.get(str(one.code), one) for one in refused.error_list]) from None
    return password
