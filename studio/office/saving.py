"""What all office forms share: who sends them, what happens when an action says no, and the page of one form."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from studio.office.forms import OfficeForm
from studio.workshop.actions import Refused, Stale
from studio.workshop.models import History, Person

FormT = TypeVar("FormT", bound=OfficeForm)
_WRITES = ("changed", "changed link", "confirmed")


def who(request: HttpRequest) -> Person:
    """The lead at the other end, behind ``lead_only``."""
    return cast(Person, request.user)


def form_from(form: type[FormT], request: HttpRequest, **initial: Any) -> FormT:
    """Filled from what was sent, or, when the page is only opened, from ``initial``."""
    return form(request.POST if request.method == "POST" else None, initial=initial)


def from_address(form: type[OfficeForm], request: HttpRequest, *names: str) -> dict[str, Any]:
    """What the address says of these fields, to fill a form with; nothing where one of them would not take it."""
    given = {name: request.GET[name] for name in names if request.GET.get(name)}
    try:
        return {name: form.base_fields[name].clean(value) for name, value in given.items()}
    except ValidationError:
        return {}


def kept(form: OfficeForm, act: Callable[[dict[str, Any]], object]) -> bool:
    """Whether a form was sent and its action went through. If not, the form says why, and holds all that was typed."""
    if not form.is_valid():
        return False
    try:
        act(form.cleaned_data)
    except Stale as stale:
        row = stale.current
        last = History.objects.filter(subject=f"{row._meta.verbose_name} {row.pk}", verb__in=_WRITES).first()
        form.show_both(row, str(last.by) if last and last.by else "somebody else")
        form.add_error(None, str(stale))
    except Refused as refusal:
        form.add_error(None, str(refusal))
    else:
        return True
    return False


def status(form: OfficeForm) -> int:
    return 409 if form.left_by else 422 if form.errors else 200


def form_page(
    request: HttpRequest,
    form: OfficeForm,
    *,
    heading: str,
    send: str,
    back: str,
    lede: str = "",
    template: str = "office/form.html",
    **context: Any,
) -> HttpResponse:
    """A page for one form. ``send`` is written on its button; ``back`` is the address to leave to."""
    values = {"form": form, "heading": heading, "send": send, "back": back, "lede": lede, **context}
    return render(request, template, values, status=status(form))


def ask_first(
    request: HttpRequest,
    act: Callable[[], object],
    *,
    heading: str,
    lede: str,
    send: str,
    back: str,
    then: str,
    done: str,
) -> HttpResponse:
    """For what cannot be undone: the page says what goes, and only its button does it.

    ``back`` is the address to leave to, ``then`` the one to go on to with the sentence ``done``.
    """
    trouble = ""
    if request.method == "POST":
        try:
            act()
        except Refused as refusal:
            trouble = str(refusal)
        else:
            messages.success(request, done)
            return redirect(then)
    context = {"heading": heading, "lede": lede, "send": send, "back": back, "trouble": trouble}
    return render(request, "office/confirm.html", context, status=422 if trouble else 200)
