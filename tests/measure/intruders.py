"""Every door of the studio, and everybody for whom it is not. Django must be set up.

What is behind the doors bears marks: invented words that stand nowhere else, in each name, sentence and photo of one job. Whoever
is refused must not see one of them, nor any photo, and nothing in the record may change.
"""

import hashlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import uuid4

import pytest
from django.apps import apps
from django.conf import settings

from studio.workshop import actions, links
from studio.workshop.models import Errand, Job, Kind, Link, Person, Photo, Rendition, Role, Says
from tests import builders, doors
from tests.measure.yard import PASSWORD
from tests.test_doors_roles import LEAD, MAKER, NOBODY, PACKER, SUPERUSER, allowed

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
LOOKING = ("GET", "HEAD")
CLIENT, OTHER, REVOKED, EXPIRED = "the client", "another client", "a revoked link", "an expired link"
STAFF = {
    MAKER: "mo@measured.example",
    PACKER: "kit@measured.example",
    LEAD: "greta@measured.example",
    SUPERUSER: "sol@measured.example",
}
INTRUDERS = (NOBODY, OTHER, REVOKED, EXPIRED, *STAFF)
MARKS = ("qzavixon", "qzbelqua", "qzcoruth")
UNKNOWN = "zzzzzzzzzz.AAAAAAAAAAAAAAAAAAAAAAAA"
PORTAL = "with/"
NOWHERE = "client-nowhere"  # takes every address of a client behind which there is nothing
DEMO_ONLY = {"open-as", "office-own-studio"}  # open for nobody in a studio that is not the demo
JPEG = b"\xff\xd8\xff"  # how each photo begins (ITU-T T.81, annex B: SOI, then another marker)
# What a visit of another client to their own page writes, and a sign-in.
_WRITTEN = {"opened_on", "last_login"}

# What is right: the portal's one refusal, or with a good token no such method; sent to sign in or refused; anything that
# shows nothing, where the door is for everybody; and the page itself.
CLOSED, NO_METHOD, OUT, PUBLIC, OWN = "closed", "no such method", "out", "public", "own page"


@dataclass(frozen=True)
class Answered:
    """``headers`` without the Date."""

    status: int
    headers: Mapping[str, str]
    body: bytes


Ask = Callable[[str, str, str], Answered]  # who, method, address


@dataclass(frozen=True)
class Place:
    """One job and all that hangs on it, the tokens that were once good among it."""

    mark: str
    things: Mapping[str, object]
    token: str
    revoked: str
    expired: str
    shown: tuple[str, ...]
    hidden: tuple[str, ...]

    @property
    def forged(self) -> str:
        return f"{self.token.partition('.')[0]}.{'A' * 24}"


@dataclass(frozen=True)
class Try:
    """``own`` is the mark that may be seen, of somebody's own page."""

    route: str
    method: str
    address: str
    who: str
    right: str
    own: str = ""


def set_out(now: datetime) -> list[Place]:
    """Jobs that bear marks, and somebody of each kind who works here and can sign in."""
    lead = builders.lead()
    for role, name in ((Role.MAKER, "Mo"), (Role.PACKER, "Kit"), (Role.LEAD, "Greta"), (Role.MAKER, "Sol")):
        email = f"{name.lower()}@measured.example"
        actions.add_person(name=name, email=email, role=role, password=PASSWORD, by=lead, now=now)
    Person.objects.filter(email=STAFF[SUPERUSER]).update(is_superuser=True)
    return [_place(mark, now) for mark in MARKS]


def _place(mark: str, now: datetime) -> Place:
    things = doors.things(mark, now)
    job = Job.objects.get(pk=str(things["job_id"]))
    lead, ada = builders.lead(), builders.person(f"Ada{mark}")
    actions.log_at_bench(
        entry_id=uuid4(),
        stage=builders.stage(job, "mould"),
        says=Says.PHOTO,
        photos=builders.kept(builders.jpeg("navy", (1300, 900 + MARKS.index(mark)))),
        sentence=mark,
        for_client=False,
        by=ada,
        now=now,
    )
    builders.work(now + timedelta(hours=1))
    revoked, expired = builders.link(job, f"Otto{mark}"), builders.link(job, f"Edda{mark}")
    once_good = links.token_for(revoked), links.token_for(expired)
    actions.revoke_link(revoked, by=lead, now=now)
    Link.objects.filter(pk=expired.pk).update(expires_on=(now - timedelta(days=2)).date())
    shown = Rendition.objects.filter(photo__in=Photo.objects.shown(), photo__stage__piece__job=job)
    hidden = Rendition.objects.filter(photo__stage__piece__job=job).exclude(pk__in=shown)
    originals = Photo.objects.filter(stage__piece__job=job).values_list("original_sha256", flat=True)
    return Place(
        mark,
        things,
        str(things["token"]),
        *once_good,
        shown=tuple(shown.values_list("sha256", flat=True)),
        hidden=(*hidden.values_list("sha256", flat=True), *originals),
    )


def tries(routes: Iterable[doors.Route], places: Sequence[Place]) -> Iterator[Try]:
    """Each once. The others of a place's clients are the clients of the place before."""
    seen = set()
    for route in routes:
        for other, place in pairwise([places[-1], *places]):
            every = _of_client(route, place, other) if route.path.startswith(PORTAL) else _of_studio(route, place)
            for one in every:
                if one not in seen:
                    seen.add(one)
                    yield one


def _addresses(route: doors.Route, place: Place, **instead: object) -> list[tuple[str, str]]:
    """Those of one place, each with the name of the photo in it. Every photo has its turn where a route names one."""
    names = (*place.shown, *place.hidden) if "sha256" in route.arguments else ("",)
    return [(route.address({**place.things, "sha256": name, **instead}), name) for name in names]


def _of_client(route: doors.Route, place: Place, other: Place) -> Iterator[Try]:
    mixed = f"{other.token.partition('.')[0]}.{place.token.partition('.')[2]}"
    closed = (
        (NOBODY, UNKNOWN),
        *((who, place.forged) for who in (NOBODY, *STAFF)),
        (REVOKED, place.revoked),
        (EXPIRED, place.expired),
        (OTHER, mixed),
    )
    for method in METHODS:
        for who, token in closed:
            for address, _ in _addresses(route, place, token=token):
                yield Try(route.name, method, address, who, CLOSED)
        for address, _ in _addresses(route, place, token=other.token):
            theirs = route.arguments == ["token"]  # it names nothing but their own job
            right = CLOSED if not theirs else OWN if method in LOOKING else NO_METHOD
            yield Try(route.name, method, address, OTHER, right, other.mark if theirs else "")
        for address, name in _addresses(route, place):
            behind = route.name != NOWHERE and name not in place.hidden
            if not behind or method not in LOOKING:
                yield Try(route.name, method, address, CLIENT, NO_METHOD if behind else CLOSED)


def _of_studio(route: doors.Route, place: Place) -> Iterator[Try]:
    """What a client holds is no key here. Where a door is for everybody, its address holds no key that is good."""
    may = allowed(route)
    forged = {name: f"{value}x" for name, value in place.things.items() if isinstance(value, str)}
    for who in INTRUDERS:
        role = who if who in STAFF else NOBODY
        if role in may and role != NOBODY:
            continue
        instead = forged if role in may else {}
        for method in METHODS:
            for address, _ in _addresses(route, place, **instead):
                yield Try(route.name, method, address, who, PUBLIC if role in may else OUT)


def rightful(routes: Iterable[doors.Route], places: Sequence[Place]) -> Iterator[tuple[str, str, str, str]]:
    """Route, who, method and address of everybody who must come in."""
    for route in routes:
        if route.name in {NOWHERE, *DEMO_ONLY}:
            continue
        client = route.path.startswith(PORTAL)
        may = (CLIENT,) if client else (NOBODY,) if NOBODY in allowed(route) else allowed(route)
        if strangers := set(may) - {CLIENT, NOBODY, *STAFF}:
            pytest.fail(
                f"tests/measure/intruders.py knows no {strangers}, who may open /{route.path}: add them to STAFF"
            )
        for place in places:
            for address, name in _addresses(route, place):
                if not name or name in place.shown or (not client and name in _copies(place)):
                    yield from ((route.name, who, method, address) for who in may for method in LOOKING)


def _copies(place: Place) -> Collection[str]:
    return Rendition.objects.filter(sha256__in=place.hidden).values_list("sha256", flat=True)


def leaks(every: Iterable[Try], ask: Ask) -> tuple[int, list[str]]:
    """How many were tried, and a sentence for each that was answered with something else than what is right."""
    closed = {method: ask(NOBODY, method, f"/{PORTAL}{UNKNOWN}/") for method in METHODS}
    count, found = 0, []
    for one in every:
        count += 1
        answered = ask(one.who, one.method, one.address)
        if wrong := _wrong(one, answered, closed[one.method]):
            found.append(f"{one.who}, {one.method} {one.address}: {wrong}")
    return count, found


def _wrong(one: Try, answered: Answered, closed: Answered) -> str:
    said = answered.body + repr(dict(answered.headers)).encode()
    if seen := [mark for mark in MARKS if mark != one.own and mark.encode() in said]:
        return f"shows {', '.join(seen)}"
    if JPEG in answered.body:
        return "shows a photo"
    if _is_right(one.right, answered, closed):
        return ""
    return f"was answered with {answered.status} where {one.right} is right"


def _is_right(right: str, answered: Answered, closed: Answered) -> bool:
    match right:
        case "closed":
            return answered == closed and closed.status == 404
        case "no such method":
            return answered.status == 405 or answered == closed  # as a browser sends it, without a form's secret
        case "out":
            to_sign_in = answered.headers.get("Location", "").startswith(settings.LOGIN_URL)
            return answered.status in {403, 404, 405} or (answered.status in {302, 303} and to_sign_in)
        case "public":
            return answered.status < 500
    return answered.status == 200


def record() -> dict[str, str]:
    """A digest of the rows of each table, so that whatever was written shows."""
    found = {}
    for model in apps.get_models():
        columns = [field.attname for field in model._meta.concrete_fields if field.attname not in _WRITTEN]
        rows = model._default_manager.values_list(*columns)
        if model is Errand:
            rows = rows.exclude(kind=Kind.TIDY_FILES)  # the studio asks for that by itself
        found[model._meta.label] = hashlib.sha256("\n".join(sorted(map(repr, rows))).encode()).hexdigest()
    del found["sessions.Session"]
    return found


def written(before: Mapping[str, str], after: Mapping[str, str]) -> list[str]:
    return [f"rows of {table} were written" for table in after if before.get(table) != after[table]]


def not_let_in(every: Iterable[tuple[str, str, str, str]], ask: Ask) -> tuple[int, list[str]]:
    """How many doors were tried by whom they are for, and a sentence for each that did not open. Redirects are followed."""
    count, found = 0, []
    for route, who, method, address in every:
        answered = ask(who, method, address)
        if answered.status == 405:  # a door that takes forms only
            continue
        count += 1
        on_the_way = answered.headers.get("Location", "")
        if on_the_way and (who == NOBODY or not on_the_way.startswith(settings.LOGIN_URL)):
            answered = ask(who, method, on_the_way)
        if answered.status != 200:
            found.append(f"{who}, {method} {address} ({route}): was answered with {answered.status}")
    return count, found


def failures(route: doors.Route, place: Place, other: Place) -> dict[str, str]:
    """An address for each kind of failure at one of the portal's doors."""
    public_id, _, signature = place.token.partition(".")
    tokens = {
        "unknown": UNKNOWN,
        "forged": place.forged,
        "revoked": place.revoked,
        "expired": place.expired,
        "another's signature": f"{other.token.partition('.')[0]}.{signature}",
        "malformed": f"{public_id}-{signature}",
    }
    found = {kind: route.address({**place.things, "token": token}) for kind, token in tokens.items()}
    if "sha256" in route.arguments:
        found["someone else's"] = route.address({**place.things, "token": other.token})
        found["not shown"] = route.address({**place.things, "sha256": place.hidden[0]})
    if route.name == NOWHERE:
        found["someone's own"] = route.address(place.things)
    return found
