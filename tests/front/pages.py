"""The studio's addresses, and a few views that go wrong on purpose."""

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.views.decorators.csrf import csrf_protect

from studio.front.render import render_part
from studio.front.signin import bench_only, lead_only
from studio.urls import handler400, handler403, handler404, handler500
from studio.urls import urlpatterns as real

__all__ = ["handler400", "handler403", "handler404", "handler500"]


def breaks(request: HttpRequest, token: str = "") -> HttpResponse:
    raise RuntimeError(f"nobody thought of {request.path}")


def too_big(request: HttpRequest) -> HttpResponse:
    raise RequestDataTooBig


def odd(request: HttpRequest) -> HttpResponse:
    raise SuspiciousOperation


def denied(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied


@csrf_protect
def form(request: HttpRequest) -> HttpResponse:
    return HttpResponse("kept")


def own_policy(request: HttpRequest) -> HttpResponse:
    return HttpResponse(headers={"Content-Security-Policy": "sandbox"})


def parts(request: HttpRequest) -> HttpResponse:
    return render_part(request, "base_quiet.html", "front/trouble.html", {"what": "only the part"})


@lead_only
def for_lead(request: HttpRequest) -> HttpResponse:
    return HttpResponse("the lead's")


@bench_only
def for_bench(request: HttpRequest) -> HttpResponse:
    return HttpResponse("the bench")


urlpatterns = [
    path("with/<str:token>/breaks/", breaks),
    path("with/<str:token>/form/", lambda request, token: form(request)),
    path("breaks/", breaks),
    path("too-big/", too_big),
    path("odd/", odd),
    path("denied/", denied),
    path("form/", form),
    path("own-policy/", own_policy),
    path("parts/", parts),
    path("for-lead/", for_lead),
    path("for-bench/", for_bench),
    *real,
]
