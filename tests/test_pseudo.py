"""Every word that a page of portal, letters or bench says of itself goes through gettext: seen in the pseudo-locale.

All data is digits here, so any letter outside ⟦ ⟧ is a string that was forgotten.
"""

import re
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from uuid import uuid4

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client, override_settings
from django.utils import translation

from studio.workshop import actions, invitations, letters
from studio.workshop.links import path_for
from studio.workshop.models import Client as Commissioner
from studio.workshop.models import (
    Confirmation,
    Contact,
    Entry,
    Errand,
    ErrandState,
    Job,
    Kind,
    Letter,
    Needs,
    Notice,
    Person,
    Piece,
    Role,
    Says,
    Stage,
    StageKind,
    Studio,
)
from tests import builders, pseudo
from tests.conftest import NOW

LETTER = re.compile(r"[^\W\d_]")
# Names of days and months are Django's, and are translated with it; addresses are data.
DATA = re.compile(
    r"\b(?:(?:Mon|Tues?|Wed(?:nes)?|Thu(?:rs)?|Fri|Sat(?:ur)?|Sun)(?:day)?|January|February|March|Mar|April)\b"
    r"|\S+@\S+|https?://\S+"
)
SPOKEN = ("alt", "title", "aria-label", "placeholder", "content", "data-sending", "data-slow", "data-too-much")
NOT_SPOKEN_META = ("width=", "noindex", "light dark", "#", "{")


@pytest.fixture
def in_pseudo() -> Iterator[None]:
    languages = [("en-gb", "English"), ("en-xa", "Pseudo")]
    with override_settings(LANGUAGES=languages), translation.override("en-xa"), time_machine.travel(NOW, tick=False):
        yield


class Spoken(HTMLParser):
    """What somebody reads or hears of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.silent = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in ("style", "script")
        for name, value in attrs:
            if name in SPOKEN and value and not (tag == "meta" and value.startswith(NOT_SPOKEN_META)):
                self.found.append(value)

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in ("style", "script")

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.found.append(data)


def forgotten(text: str) -> list[str]:
    before = None
    while before != text:  # from the inside out, for a string inside a string
        before, text = text, re.sub(r"⟦[^⟦⟧]*⟧", "", text)
    return [line.strip() for line in DATA.sub("", text).splitlines() if LETTER.search(line)]


def check(html: str) -> None:
    spoken = Spoken(html).found
    assert any("⟦" in text for text in spoken), "the pseudo-locale was not on"
    assert forgotten("\n".join(spoken)) == []


@pytest.mark.once
def test_the_check_finds_what_was_forgotten() -> None:
    with pytest.raises(AssertionError, match="Photo only"):
        check('<p>⟦Ðôñê ⟦ïñ⟧⟧ 12</p><button aria-label="⟦x⟧">Photo only</button>')
    with pytest.raises(AssertionError, match="Skip"):
        check('<p>⟦Ðôñê⟧</p><img alt="Skip">')
    check("<style>p { color: red }</style><p>⟦Ðôñê⟧ Tuesday 10 March 2026, 1@2.example</p>")


@pytest.mark.once
def test_the_file_holds_every_string_of_the_sources() -> None:
    """Run ``python -m tests.pseudo`` after a change of words."""
    assert pseudo.PO.read_bytes() == pseudo.written(pseudo.messages())


@pytest.mark.once
def test_the_compiled_file_belongs_to_it() -> None:
    assert pseudo.MO.read_bytes() == pseudo.compiled(pseudo.PO.read_bytes())


@pytest.mark.once
def test_placeholders_and_tags_stay_as_they_are() -> None:
    assert pseudo.foreign("Done %(day)s, <b>here</b> &amp; 5 %%") == "⟦Ďôñê %(day)s, <b>ĥêŕê</b> &amp; 5 %%⟧"


def numbered() -> Job:
    """A job with two pieces, photos, words and a follower, all named by digits."""
    job = builders.job()
    link = builders.link(job)
    actions.add_piece(job, name="7", by=builders.lead(), now=NOW)
    builders.confirm(job, words="1.", by=builders.lead(), now=NOW)
    builders.log_done(builders.stage(job))
    builders.log_done(builders.stage(job, "mould"), photo=False)
    builders.work()
    for number, kind in enumerate(StageKind.objects.all(), start=100):
        StageKind.objects.filter(pk=kind.pk).update(name=str(number), sentence=f"{number}.")
    for model in (Person, Commissioner, Contact, Job, Piece, Studio):
        model._default_manager.update(name="42")
    Piece.objects.update(note="43.")
    Entry.objects.update(sentence="44.")
    Stage.objects.update(title="45")
    assert link.job == job
    return Job.objects.get()


def just_begun(job: Job) -> None:
    Confirmation.objects.all().delete()
    Entry.objects.update(taken_back_at=NOW)
    Stage.objects.update(done_at=None, done_by=None)


def nobody_leads(job: Job) -> None:
    Confirmation.objects.all().delete()
    Person.objects.update(is_active=False)


def closed(job: Job) -> None:
    Job.objects.update(closed_on=NOW.date())
    job.links.update(expires_on=NOW.date())


def last_year(job: Job) -> None:
    Confirmation.objects.update(at=NOW.replace(year=2025))


def not_set_out(job: Job) -> None:
    just_begun(job)
    for stage in Stage.objects.filter(entries=None):
        stage.delete()


PORTAL_STATES: list[Callable[[Job], object]] = [
    lambda job: None,
    just_begun,
    nobody_leads,
    closed,
    last_year,
    not_set_out,
]


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
@pytest.mark.parametrize("state", PORTAL_STATES, ids=lambda state: state.__name__)
def test_the_clients_page(in_pseudo: None, state: Callable[[Job], object]) -> None:
    job = numbered()
    state(job)
    response = Client().get(path_for(job.links.get()))
    assert response.status_code == 200
    check(response.content.decode())


@pytest.mark.django_db(transaction=True, databases=["default", "portal"])
def test_a_link_that_does_not_open(in_pseudo: None) -> None:
    check(Client().get("/with/nothing/").content.decode())


@pytest.mark.django_db
@pytest.mark.parametrize("picture", [b"jpeg", None])
@pytest.mark.parametrize("piece", ["42", "77"])
def test_the_letter(in_pseudo: None, picture: bytes | None, piece: str) -> None:
    numbered()
    notice = Notice.objects.first()
    assert notice
    notice.stage.piece.name = piece
    written = letters.stage_done(notice, picture, NOW)
    check(written.html)
    for text in (written.subject, written.text):
        assert "⟦" in text
        assert forgotten(text) == []


@pytest.mark.django_db
def test_the_bench(in_pseudo: None) -> None:
    job = numbered()
    client = Client()
    client.force_login(Person.objects.get(role=Role.MAKER))
    stages = list(Stage.objects.filter(piece__job=job))
    entries = list(Entry.objects.all())
    addresses = ["/bench/", "/bench/all/", *(f"/bench/{stage.pk}/" for stage in stages)]
    for address in (*addresses, *(f"/bench/kept/{entry.pk}/" for entry in entries)):
        response = client.get(address)
        assert response.status_code == 200
        check(response.content.decode())
    Job.objects.update(closed_on=NOW.date())
    check(client.get("/bench/").content.decode())


def second_word(entry: Entry) -> None:
    builders.say_stuck(entry.stage, Needs.BROKE, by=Person.objects.get(role=Role.LEAD), now=NOW)
    builders.work()


def had_letters(entry: Entry) -> None:
    other = builders.lead("43")
    Errand.objects.create(
        kind=Kind.TELL_LEAD, key="1", subject=f"{entry.stuck.pk}-{other.pk}", due_at=NOW, asked_at=NOW
    )
    Errand.objects.create(
        kind=Kind.TELL_LEAD, key="2", subject=f"{entry.stuck.pk}-{entry.by_id}", due_at=NOW, asked_at=NOW
    )
    Errand.objects.filter(key="2").update(state=ErrandState.FAILED)
    Letter.objects.create(pk=uuid4(), stuck=entry.stuck, person=other, job=entry.stage.piece.job, sent_at=NOW)


def told_them(entry: Entry) -> None:
    actions.answer_stuck(entry.stuck, answer="46.", by=entry.by, now=NOW)


def carried_on(entry: Entry) -> None:
    actions.answer_stuck(entry.stuck, by=entry.by, now=NOW)


def gone_and_taken_back(entry: Entry) -> None:
    had_letters(entry)
    actions.take_back(entry, by=entry.by, now=NOW)


def in_a_closed_job(entry: Entry) -> None:
    Job.objects.update(closed_on=NOW.date())


STUCK_STATES: list[Callable[[Entry], object]] = [
    lambda entry: None,
    second_word,
    had_letters,
    told_them,
    carried_on,
    gone_and_taken_back,
    in_a_closed_job,
]


@pytest.mark.django_db
@pytest.mark.parametrize("needs", Needs)
@pytest.mark.parametrize("state", STUCK_STATES, ids=lambda state: state.__name__)
def test_stuck_at_the_bench(in_pseudo: None, state: Callable[[Entry], object], needs: Needs) -> None:
    stage, maker = Stage.objects.get(piece__job=numbered(), done_at=None), Person.objects.get(role=Role.MAKER)
    entry = builders.say_stuck(stage, needs, by=maker, sentence="47." if needs == Needs.HAND else "")
    client = Client()
    client.force_login(maker)
    state(entry)
    for address in ("/bench/", "/bench/all/", f"/bench/{stage.pk}/", f"/bench/{stage.pk}/stuck/"):
        check(client.get(address).content.decode())
    for said in Entry.objects.filter(says=Says.STUCK):
        check(client.get(f"/bench/kept/{said.pk}/").content.decode())
    check(client.post(f"/bench/{stage.pk}/carry-on/", {"stuck": entry.stuck.pk}, follow=True).content.decode())


@pytest.mark.django_db
def test_stuck_that_is_refused(in_pseudo: None) -> None:
    stage, client = Stage.objects.get(piece__job=numbered(), done_at=None), Client()
    client.force_login(Person.objects.get(role=Role.MAKER))
    check(client.post(f"/bench/{stage.pk}/stuck/", {"needs": "hand"}).content.decode())
    Stage.objects.filter(pk=stage.pk).update(done_at=NOW, done_by=Person.objects.get(role=Role.LEAD))
    check(client.post(f"/bench/{stage.pk}/stuck/", {"needs": "hand", "entry": uuid4()}).content.decode())
    Job.objects.update(closed_on=NOW.date())
    check(client.post(f"/bench/{stage.pk}/stuck/", {"needs": "hand", "entry": uuid4()}).content.decode())


@pytest.mark.django_db
@pytest.mark.parametrize("needs", Needs)
def test_the_letter_about_what_is_stuck(in_pseudo: None, needs: Needs) -> None:
    stage = Stage.objects.get(piece__job=numbered(), done_at=None)
    entry = builders.say_stuck(stage, needs, by=Person.objects.get(role=Role.MAKER), sentence="47.")
    written = letters.something_stuck(entry.stuck, Person.objects.get(role=Role.LEAD))
    check(written.html)
    for text in (written.subject, written.text):
        assert "⟦" in text
        assert forgotten(text) == []


@pytest.mark.django_db
def test_the_door_and_its_errors(in_pseudo: None) -> None:
    numbered()
    client = Client()
    check(client.get("/sign-in/").content.decode())
    check(client.post("/sign-in/", {"email": "1", "password": ""}).content.decode())
    check(client.post("/sign-in/", {"email": "1@2.example", "password": "1"}).content.decode())
    check(client.get("/nowhere/").content.decode())
    for _ in range(10):
        refused = client.post("/sign-in/", {"email": "1@2.example", "password": "1"})
    assert refused.status_code == 429
    check(refused.content.decode())


@pytest.mark.django_db
def test_coming_in_and_ones_own_password(in_pseudo: None) -> None:
    numbered()
    person, client = actions.invite(Person.objects.get(role=Role.MAKER), by=None, now=NOW), Client()
    way_in, password = invitations.path_for(person), "/letterbox/password/"
    check(client.get(way_in).content.decode())
    for wrong in ({}, {"password": "923456789012345", "again": "1"}, {"password": "1"}, {"password": "1234567890"}):
        check(client.post(way_in, wrong).content.decode())
    client.force_login(person)
    check(client.get(password).content.decode())
    actions.set_password(person, "123456789012345", by=None, now=NOW)
    check(client.get(way_in).content.decode())
    client.force_login(Person.objects.get(pk=person.pk))
    check(client.post(password, {}).content.decode())
    sent = {"old": "1", "password": "923456789012345", "again": "923456789012345"}
    check(client.post(password, sent).content.decode())
    for _ in range(10):
        refused = client.post(password, sent)
    assert refused.status_code == 429
    check(refused.content.decode())
    check(client.post(f"{password}sign-out/", follow=True).content.decode())
    cache.clear()
    check(client.post(password, sent | {"old": "123456789012345"}, follow=True).content.decode())
