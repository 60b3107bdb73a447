"""Every address of the site, as the URL conf has it, and one real thing for each of them to name.

A new route is met by the tests of doors by itself. One whose arguments nobody can fill here fails them by its name.
"""

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import pytest
from django.apps import apps
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.resolvers import RegexPattern, RoutePattern

from studio.workshop import actions, invitations, links
from studio.workshop.models import Absence, Closure, Errand, ErrandState, Job, Letter, Link, Notice, Overtime, Photo
from tests import builders
from tests.conftest import NOW

_ARGUMENT = re.compile(r"<(?:\w+:)?(\w+)>")
_GROUP = re.compile(r"\(\?P<(\w+)>(?:\[[^]]*\]|[^()])*\)")


@dataclass(frozen=True)
class Route:
    """``path`` has each argument as ``<name>``, whatever its kind."""

    path: str
    name: str

    @property
    def arguments(self) -> list[str]:
        return _ARGUMENT.findall(self.path)

    def address(self, things: Mapping[str, object]) -> str:
        """``things`` by the arguments' names; "route:argument" comes first, where an argument means another thing there."""
        found = {name: things.get(f"{self.name}:{name}", things.get(name)) for name in self.arguments}
        unknown = [name for name, thing in found.items() if thing is None]
        if unknown:
            pytest.fail(f"tests/doors.py does not know what {unknown} of /{self.path} may be: add it to things()")
        return "/" + _ARGUMENT.sub(lambda argument: str(found[argument[1]]), self.path)


def tampered(signed: str) -> str:
    """The same with its last character changed: to another one whatever it was, as it is drawn anew in each run."""
    return signed[:-1] + ("B" if signed[-1] == "A" else "A")


def routes(under: str = "") -> list[Route]:
    """All of them, or those whose address begins with ``under``."""
    return [route for route in _walk(get_resolver(), "") if route.path.startswith(under)]


def _walk(resolver: URLResolver, before: str) -> Iterator[Route]:
    for pattern in resolver.url_patterns:
        path = before + _written(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _walk(pattern, path)
        elif isinstance(pattern, URLPattern):
            yield Route(path, pattern.name or path)


def _written(pattern: object) -> str:
    if isinstance(pattern, RoutePattern):
        return _ARGUMENT.sub(r"<\1>", str(pattern))
    assert isinstance(pattern, RegexPattern)
    plain = _GROUP.sub(r"<\1>", str(pattern)).removeprefix("^").removesuffix("$").replace("\\.", ".")
    if re.search(r"[\\^$*+?()\[\]{}|]", plain):
        pytest.fail(f"tests/doors.py cannot write an address for {pattern}")
    return plain


def things(mark: str = "", now: datetime = NOW) -> dict[str, object]:
    """A job with a letter sent and one still to go, and what addresses name of it. ``sha256`` is a photo's that is shown.

    ``mark`` stands in every name, sentence and photo, so that several such jobs can stand side by side and be told apart.
    """

    def marked(name: str) -> str:
        return f"{name} {mark}".strip()

    ada, day = builders.person(f"Ada{mark}"), now.date()
    job = builders.job(marked("Talking watering can"), client=marked("Wharfside Theatre"))
    link = builders.link(job, f"Priya{mark}")
    colour = f"#{hashlib.sha256(mark.encode()).hexdigest()[:6]}"
    content = builders.jpeg(colour, (2100, 1400))
    entry = builders.log_done(builders.stage(job), by=ada, now=now, sentence=mark, content=content)
    builders.work(now + timedelta(hours=1))
    later = builders.log_done(builders.stage(job, "mould"), by=ada, photo=False, now=now + timedelta(hours=2))
    notice = Notice.objects.get(entry=later)
    stage = builders.stage(job, "lay-up")
    bo = actions.invite(builders.person(f"Bo{mark}"), by=None, now=now)
    found = {
        "app_label": "workshop",
        "absence_id": Absence.objects.create(person=ada, first_day=day, last_day=day).pk,
        "closure_id": Closure.objects.create(first_day=day, last_day=day, name=marked("Stocktaking")).pk,
        "entry_id": entry.pk,
        "errand_id": Errand.objects.filter(subject=str(notice.pk), state=ErrandState.WAITING).get().pk,
        "kind_id": stage.kind_id,
        "letterbox-come-in:token": invitations.token_for(bo),
        "letter_id": Letter.objects.get(job=job).pk,
        "notice_id": notice.pk,
        "overtime_id": Overtime.objects.create(person=ada, day=day, starts=time(17), ends=time(19)).pk,
        "person_id": ada.pk,
        "place_id": stage.place_id,
        "rest": "nowhere/at/all/",
        "stage_id": stage.pk,
        "stuck_id": builders.say_stuck(stage, by=ada, now=now, sentence=mark).stuck.pk,
    }
    builders.confirm(job, words=marked("It is on time."), now=now)
    return of(job, link) | _rows() | found


def _rows() -> dict[str, object]:
    """The newest row of each model, for its page in the raw record."""
    found = {}
    for model in apps.get_app_config("workshop").get_models():
        if row := model._default_manager.order_by("pk").last():
            found[f"workshop_{model._meta.model_name}_change:object_id"] = row.pk
    return found


def of(job: Job, link: Link) -> dict[str, object]:
    photo = Photo.objects.filter(stage__piece__job=job).first()
    return {
        "client_id": job.client_id,
        "contact_id": link.contact_id,
        "job_id": job.pk,
        "link_id": link.pk,
        "photo_id": photo.pk if photo else 0,
        "piece_id": builders.piece(job).pk,
        "sha256": photo.renditions.get(edge=960).sha256 if photo else "0" * 64,
        "token": links.token_for(link),
        "letterbox-stop:token": links.stop_address_for(link).split("/")[-2],
    }
