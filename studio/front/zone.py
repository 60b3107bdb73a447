"""Days and hours on every page are the studio's own, wherever the machine stands."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from studio.front.csp import CLIENT
from studio.workshop.models import Studio


class ShopZone:
    """A client's page sets the zone itself, through its own connection; what is no page needs none."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info.startswith(
            (CLIENT, f"/{settings.STATIC_URL.strip('/')}/", "/media/", "/robots.txt", "/healthz", "/metrics")
        ):
            return self.get_response(request)
        studio = Studio.objects.first()
        with timezone.override(ZoneInfo(studio.time_zone if studio else settings.TIME_ZONE)):
            return self.get_response(request)
