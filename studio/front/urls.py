"""The addresses that the faces share."""

from django.http import HttpRequest, HttpResponse
from django.urls import path, re_path
from django.views.decorators.http import require_safe

from studio.front import lights, media, signin, views


@require_safe
def robots(request: HttpRequest) -> HttpResponse:
    # Clients' pages are not shut out here: a robot that may not fetch them would never read that they are noindex.
    return HttpResponse("User-agent: *\nAllow: /\n", content_type="text/plain")


urlpatterns = [
    path("", signin.home, name="home"),
    path("sign-in/", signin.sign_in, name="sign-in"),
    path("sign-out/", signin.sign_out, name="sign-out"),
    path("open/<str:token>", signin.open_as, name="open-as"),
    path("light/", lights.light, name="light"),
    re_path(r"^media/(?P<sha256>[0-9a-f]{64})\.jpg$", media.photo, name="photo"),
    path("robots.txt", robots, name="robots"),
    path("healthz", views.healthz, name="healthz"),
    path("metrics", views.metrics, name="metrics"),
]
