"""Every screen that somebody may meet, with something on it, and who meets it. For tests in a real browser."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from studio.workshop.models import Client, Contact, Job, Needs, Person, Piece, Place, Stage, Studio
from tests import builders, doors
from tests.office import shopful

LONG = "Schaufensterdekorationswerkstattmeisterinnenstammtisch"
Who = Literal["lead", "maker", "stranger"]

# Addresses whose answer is no page to look at.
NO_SCREENS = {
    "client-photo": "a picture",
    "photo": "a picture",
    "office-letter-html": "a letter in its frame, looked at inside the page around it",
    "office-notice-html": "a letter in its frame, looked at inside the page around it",
    "robots": "text",
    "healthz": "text",
    "metrics": "text",
    "home": "leads on to another page",
    "open-as": "leads on to another page",
}
ADMIN = "admin/"  # Django's own pages, for whoever reads the raw record; their look is not ours


@dataclass(frozen=True)
class Screen:
    """``sent``: its form is sent as it stands, but empty, so that it comes back with what is wrong."""

    address: str
    who: Who
    sent: bool = False

    def __str__(self) -> str:
        return f"{self.address} for the {self.who}{', sent empty' if self.sent else ''}"


def fill(now: datetime) -> Mapping[str, object]:
    """A demo studio of ten jobs, one of them stuck, with a few answers and notes; and what addresses name of it."""
    shopful.fill(10, now)
    Studio.objects.update(demo=True)
    things = doors.things(now=now)
    Piece.objects.update(note="Jaw opens 40°. Keep the rod hole at the back clear of filler.")
    _lengthen(things)
    return things


def _lengthen(things: Mapping[str, object]) -> None:
    """One of each kind has a name that cannot be broken between words."""
    for model in (Job, Client, Contact, Piece, Place, Person):
        model._default_manager.filter(pk=str(things[f"{model.__name__.lower()}_id"])).update(name=LONG[:40])
    Stage.objects.filter(pk=str(things["stage_id"])).update(title=LONG)


def screens(things: Mapping[str, object], now: datetime) -> Sequence[Screen]:
    """By the URL conf, so that a new page is looked at by itself; and the other faces that some of them have."""
    found = [Screen(route.address(things), _who(route)) for route in _pages()]
    job = builders.job("Leaning lamp post", client="Fell & Daughter, hats")
    bare = builders.link(job, "Nora")
    ada, stage = builders.person("Ada"), builders.stage(job)
    stuck = builders.say_stuck(
        stage, Needs.ANSWER, by=ada, now=now - timedelta(minutes=5), sentence="Which way does it lean?"
    )
    return [
        *found,
        Screen("/sign-in/", "stranger"),
        Screen("/sign-in/", "stranger", sent=True),
        Screen(str(doors.of(job, bare)["token"]).join(("/with/", "/")), "stranger"),
        Screen(f"/bench/{stage.pk}/", "maker"),
        Screen(f"/bench/{stage.pk}/stuck/", "maker"),
        Screen(f"/bench/{builders.stage(job, 'mould').pk}/", "maker"),
        Screen(f"/bench/kept/{stuck.pk}/", "maker"),
        Screen("/bench/", "lead"),
        Screen("/office/jobs/?q=nothing-like-it", "lead"),
        *(Screen(address, "lead", sent=True) for address in SENT),
        *(Screen(address, "lead") for address in WRONG),
    ]


SENT = (
    "/office/jobs/new/",
    "/office/clients/new/",
    "/office/people/new/",
    "/office/places/new/",
    "/letterbox/password/",
)
# tests.front.pages breaks on purpose at the last of them.
WRONG = ("/nowhere/", "/odd/", "/denied/", "/too-big/", "/breaks/", "/with/abc/", "/with/abc/breaks/", "/light/")


def _pages() -> Sequence[doors.Route]:
    return [route for route in doors.routes() if route.name not in NO_SCREENS and not route.path.startswith(ADMIN)]


def _who(route: doors.Route) -> Who:
    if route.path.startswith(("with/", "letterbox/stop", "letterbox/come-in", "sign-in")):
        return "stranger"
    return "maker" if route.path.startswith("bench/") else "lead"
