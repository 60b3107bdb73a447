"""Who is here: signing in and out, the doors of the faces, and, in the demo, links that open straight in."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast
from urllib.parse import urlencode

from django import forms
from django.contrib.auth import authenticate, login, logout
from django.core import signing
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_htmx.http import HttpResponseClientRedirect

from studio import env
from studio.front import known_browsers, throttle
from studio.workshop.links import path_for
from studio.workshop.models import Link, Person, Role, Studio

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]
BACKEND = "django.contrib.auth.backends.ModelBackend"
TOO_MANY_TRIES = _("Too many tries. Wait fifteen minutes, or ask the lead for a new way in.")


class SignIn(forms.Form):
    email = forms.EmailField(max_length=200)
    password = forms.CharField(max_length=200, strip=False)


def home_of(person: Person) -> str:
    return "/office/" if person.role == Role.LEAD else "/bench/"


def safe_next(request: HttpRequest, otherwise: str, field: str = "next") -> str:
    """Where to go on to, as the form or the address says, but only within this site."""
    wanted = request.POST.get(field) or request.GET.get(field) or ""
    here = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if here else otherwise


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    if isinstance(request.user, Person):
        return redirect(safe_next(request, home_of(request.user)))
    form = SignIn(request.POST if request.method == "POST" else None)
    status = 200
    if form.is_valid():
        email = form.cleaned_data["email"]
        limits = throttle.of_sign_in(request, email, Person.objects.filter(email__iexact=email).first())
        if not throttle.may_try(limits):
            status = 429
            form.add_error(None, TOO_MANY_TRIES)
        else:
            person = authenticate(request, username=email, password=form.cleaned_data["password"])
            if isinstance(person, Person):
                throttle.was_right(limits)
                return enter(request, person, safe_next(request, home_of(person)))
            throttle.failed()
            form.add_error(None, _("Nobody here has that e-mail address and password. Check both and try again."))
    if form.errors and status == 200:
        status = 422
    context = {"form": form, "next": safe_next(request, "")}
    return render(request, "front/sign_in.html", context, status=status)


def enter(request: HttpRequest, person: Person, address: str) -> HttpResponse:
    """Signs somebody in, for good reasons that the caller has checked, and goes on to an address."""
    login(request, person, backend=BACKEND)
    response = redirect(address)
    known_browsers.remember(request, response, person)
    return response


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("sign-in")


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    return redirect(home_of(request.user) if isinstance(request.user, Person) else reverse("sign-in"))


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    """Back here afterwards, where coming back by a link means anything."""
    address = reverse("sign-in")
    if request.method in {"GET", "HEAD"}:
        address += "?" + urlencode({"next": request.get_full_path()})
    # htmx would put the sign-in page into a corner of this one.
    return HttpResponseClientRedirect(address) if "HX-Request" in request.headers else redirect(address)


def _private(response: HttpResponseBase) -> HttpResponseBase:
    """What only the studio sees is kept by no cache, unless the view knows better, as for photos."""
    response.headers.setdefault("Cache-Control", "private, no-store")
    return response


def signed_in(view: View[P]) -> View[P]:
    """Anybody of the studio."""

    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        if not isinstance(request.user, Person):
            return _private(_to_sign_in(request))
        return _private(view(request, *args, **kwargs))

    return door


bench_only = signed_in  # whoever works here may stand at the bench, the lead too


def lead_only(view: View[P]) -> View[P]:
    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        if not isinstance(request.user, Person):
            return _private(_to_sign_in(request))
        if request.user.role != Role.LEAD:
            raise PermissionDenied
        return _private(view(request, *args, **kwargs))

    return door


def who(request: HttpRequest) -> Person:
    """Whoever is at the other end, behind one of these doors."""
    return cast(Person, request.user)


def _openers_signer() -> signing.Signer | None:
    """None unless this is the demo and `up` has given this run a word of its own; old links stop with the run."""
    nonce = env.text("OPENER_NONCE")
    demo = Studio.objects.filter(demo=True).exists()
    return signing.Signer(salt=f"opener {nonce}") if nonce and demo else None


def openers(url: str) -> dict[str, str]:
    """One address each for lead, maker and client, which open straight in; empty outside the demo."""
    found = {"lead": "", "maker": "", "client": ""}
    signer = _openers_signer()
    if signer is None:
        return found
    for role in (Role.LEAD, Role.MAKER):
        person = Person.objects.filter(role=role, is_active=True).order_by("pk").first()
        if person:
            found[role.value] = f"{url}{reverse('open-as', args=[signer.sign(str(person.pk))])}"
    link = Link.objects.standing().order_by("pk").first()
    if link:
        found["client"] = f"{url}{path_for(link)}"
    return found


@never_cache
@require_GET
def open_as(request: HttpRequest, token: str) -> HttpResponse:
    """Signs somebody in by a link. Only in the demo, where nothing is real."""
    signer = _openers_signer()
    try:
        key = signer.unsign(token) if signer else ""
    except signing.BadSignature:
        key = ""
    person = Person.objects.filter(pk=key, is_active=True).first() if key else None
    if person is None:
        raise Http404
    login(request, person, backend=BACKEND)
    return redirect(home_of(person))
