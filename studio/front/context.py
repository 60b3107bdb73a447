"""What every page knows. Nothing is asked of the database until a template wants it, and nothing at all on a client's page."""

import functools
from typing import Any

from django.http import HttpRequest

from studio.front.csp import CLIENT
from studio.workshop.models import Studio

LIGHTS = ("auto", "day", "slate")


def page(request: HttpRequest) -> dict[str, Any]:
    """``studio_name``, ``demo``, ``light`` and ``person`` (somebody signed in, or None). A view's own values win."""
    if request.path_info.startswith(CLIENT):
        return {"studio_name": "", "demo": False, "light": "auto", "person": None}

    @functools.cache
    def studio() -> Studio | None:
        return Studio.objects.first()

    def studio_name() -> str:
        row = studio()
        return row.name if row else ""

    def demo() -> bool:
        row = studio()
        return row.demo if row else False

    def person() -> Any:
        user = getattr(request, "user", None)  # a request refused early never got as far as having one
        return user if user is not None and user.is_authenticated else None

    light = request.COOKIES.get("light", "auto")
    return {
        "studio_name": studio_name,
        "demo": demo,
        "light": light if light in LIGHTS else "auto",
        "person": person,
    }
