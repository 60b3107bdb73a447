"""``{% load office %}``: the bar of the office, and hours as a sentence says them."""

from datetime import datetime
from typing import Any

from django import template
from django.http import HttpRequest

from studio.office import wording

register = template.Library()

# What the bar says, where it leads, and the addresses that it covers.
_BAR = (
    ("Office", "/office/", ()),
    ("Photos", "/office/photos/", ("/office/photos/",)),
    (
        "Jobs",
        "/office/jobs/",
        ("/office/jobs/", "/office/pieces/", "/office/stages/", "/office/entries/", "/office/links/"),
    ),
    ("Clients", "/office/clients/", ("/office/clients/", "/office/contacts/")),
    ("Letters", "/office/letters/", ("/office/letters/", "/office/notices/")),
    ("Studio", "/office/settings/", ("/office/settings/", "/office/people/", "/office/kinds/")),
    ("Bench", "/bench/", ()),
)


@register.inclusion_tag("office/_bar.html")
def office_bar(request: HttpRequest) -> dict[str, Any]:
    path = request.path_info
    return {"places": [(name, to, path == to or path.startswith(covers)) for name, to, covers in _BAR]}


@register.simple_tag(takes_context=True)
def when(context: dict[str, Any], at: datetime | None) -> str:
    """10:52 today, Tue 10 Mar 10:52 else. The view's ``now`` says what today is."""
    return wording.when(at, context["now"]) if at else ""
