"""``{% load office %}``: the bar of the office, and days and hours as a sentence says them."""

from datetime import datetime
from typing import Any

from django import template
from django.http import HttpRequest

from studio.office import wording

register = template.Library()
register.filter("dated", wording.short_day)

# What the bar says, where it leads, and the nouns of the office's other addresses that it covers.
_BAR = (
    ("Deadlines", "/office/", ("waiting", "stuck", "errands")),
    ("Jobs", "/office/jobs/", ("jobs", "pieces", "stages", "entries", "links")),
    ("New job", "/office/jobs/new/", ()),
    ("Photos", "/office/photos/", ("photos",)),
    ("Clients", "/office/clients/", ("clients", "contacts")),
    ("Letters", "/office/letters/", ("letters", "notices", "mail")),
    ("Studio", "/office/settings/", ("settings", "own-studio", "people", "kinds", "hours", "closures", "places")),
    ("Bench", "/bench/", ()),
)
_EXACTLY = {to for _, to, _ in _BAR}


@register.inclusion_tag("office/_bar.html")
def office_bar(request: HttpRequest) -> dict[str, Any]:
    path = request.path_info
    noun = "" if path in _EXACTLY else path.removeprefix("/office/").partition("/")[0]
    return {"places": [(name, to, path == to or noun in covers) for name, to, covers in _BAR]}


@register.simple_tag(takes_context=True)
def when(context: dict[str, Any], at: datetime | None) -> str:
    """10:52 today, Tue 10 Mar 10:52 else. The view's ``now`` says what today is."""
    return wording.when(at, context["now"]) if at else ""
