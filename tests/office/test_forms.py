"""Each form: good, bad, and sent from a page that somebody else has overtaken."""

from datetime import date
from urllib.parse import urlsplit
from uuid import uuid4

import pytest
from django.test import Client as Browser

from studio.workshop import actions, invitations
from studio.workshop.models import (
    Client,
    Confirmation,
    Contact,
    Job,
    Link,
    Person,
    Piece,
    Release,
    Role,
    Stage,
    StageKind,
    Studio,
)
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text, title, version

NEW_JOB = {
    "name": "Pretzel",
    "client": "Kneading Lane Bakery",
    "wanted_day": "2026-04-05",
    "method": "carved",
    "longest_mm": "1.4",
    "number": "1",
}


def test_a_job_for_a_new_client_and_one_for_the_same(office: Browser) -> None:
    answer = office.post("/office/jobs/new/", NEW_JOB | {"once": str(uuid4())}, follow=True)
    assert "Set out: one piece, six stages. The van is set for Fri 3 Apr" in text(answer)  # the 5th is a Sunday
    job = Job.objects.get()
    assert (job.client.name, job.van_day, job.wanted_day) == (
        "Kneading Lane Bakery",
        date(2026, 4, 3),
        date(2026, 4, 5),
    )
    second = {"name": "Second pretzel", "client": "kneading lane bakery", "method": "own", "once": str(uuid4())}
    assert "Set out. Add its pieces below." in text(office.post("/office/jobs/new/", NEW_JOB | second, follow=True))
    assert Client.objects.count() == 1
    assert Job.objects.count() == 2


def test_a_new_job_asks_for_six_things_and_the_same_form_makes_one_job(office: Browser) -> None:
    page = office.get("/office/jobs/new/").context["form"]
    assert [field.name for field in page.visible_fields()] == list(NEW_JOB)
    sent = NEW_JOB | {"once": str(uuid4())}
    for _ in range(2):
        office.post("/office/jobs/new/", sent)
    assert Job.objects.count() == 1
    other = office.post("/office/jobs/new/", sent | {"name": "Giant boot"})
    assert other.status_code == 422
    assert "This form has set out Pretzel already." in text(other)
    assert 'value="Giant boot"' in other.content.decode()
    assert office.post("/office/jobs/new/", sent | {"name": "Giant boot", "once": str(uuid4())}).status_code == 302
    assert Job.objects.count() == 2


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"number": "0"}, "Write a whole number from 1 to 60."),
        ({"number": "61"}, "Write a whole number from 1 to 60."),
        ({"longest_mm": "about life-size"}, "Write the longest side in metres, like 2.1."),
        ({"longest_mm": "0"}, "Write more than 0 and at most 100 metres, or leave it empty."),
        ({"method": ""}, "Choose one. All of it can be changed after."),
        ({"wanted_day": "in spring"}, "Write the day like 2026-12-04."),
    ],
)
def test_what_cannot_be_set_out_gets_a_sentence(office: Browser, wrong: dict[str, str], sentence: str) -> None:
    answer = office.post("/office/jobs/new/", NEW_JOB | {"once": str(uuid4())} | wrong)
    assert answer.status_code == 422
    assert sentence in text(answer)
    assert 'value="Kneading Lane Bakery"' in answer.content.decode()
    assert not Job.objects.exists()


def test_a_bad_job_loses_nothing_and_says_what_to_do(office: Browser) -> None:
    sent = NEW_JOB | {"name": "", "client": "Hillfoot School", "wanted_day": "in spring", "once": str(uuid4())}
    answer = office.post("/office/jobs/new/", sent)
    assert answer.status_code == 422
    assert title(answer).startswith("Error:")
    html = answer.content.decode()
    assert 'value="Hillfoot School"' in html
    assert "Write the day like 2026-12-04." in html
    assert 'aria-describedby="newjobform-name_helptext newjobform-name_error"' in html
    assert 'id="newjobform-name_error"' in html
    assert not Job.objects.exists()
    assert not Client.objects.exists()


# A row, the page of its form, and what is sent: good, bad (one field), and the field that somebody else changes.
EDITS = {
    "job": (
        "/office/jobs/{}/change/",
        {"name": "Can", "release": "straight", "wanted_means": "opens"},
        {"release": "sideways"},
    ),
    "piece": ("/office/pieces/{}/", {"name": "Rose of the can", "note_to_maker": "Keep it dry."}, {"name": ""}),
    "stage": ("/office/stages/{}/", {"title": "second coat", "work_min": "6:30", "crew": "2"}, {"kind": "999"}),
    "client": ("/office/clients/{}/", {"name": "Wharfside"}, {"name": "x" * 121}),
    "contact": ("/office/contacts/{}/", {"name": "Priya R.", "email": "p@client.example"}, {"email": "priya"}),
    "person": ("/office/people/{}/", {"name": "Bo", "email": "bo@bodkinyard.example", "role": "packer"}, {"role": ""}),
    "kind": (
        "/office/kinds/{}/",
        {"name": "coppering", "sentence": "A skin of metal.", "crew": "2", "work_min": "6.5"},
        {"name": ""},
    ),
    "studio": (
        "/office/settings/",
        {"name": "Yard", "time_zone": "Europe/Oslo", "undo_minutes": "5"},
        {"undo_minutes": "-1"},
    ),
}


def row(noun: str) -> Job | Piece | Stage | Client | Contact | Person | StageKind | Studio:
    job = Job.objects.first() or builders.job()
    match noun:
        case "job":
            return Job.objects.get(pk=job.pk)
        case "piece":
            return Piece.objects.get()
        case "stage":
            return Stage.objects.earliest("pk")
        case "client":
            return Client.objects.get()
        case "contact":
            return Contact.objects.first() or builders.contact(job)
        case "person":
            return Person.objects.get(pk=builders.person("Bo").pk)
        case "kind":
            return StageKind.objects.get(position=1)
    return Studio.objects.get()


def filled(noun: str) -> tuple[str, dict[str, str], dict[str, str]]:
    page, good, bad = EDITS[noun]
    if noun == "stage":
        good = good | {"kind": str(StageKind.objects.get(name="mould").pk)}
    return page.format(row(noun).pk), good, bad


@pytest.mark.parametrize("noun", EDITS)
def test_a_good_edit_is_kept(noun: str, office: Browser) -> None:
    page, good, _ = filled(noun)
    before = row(noun).version
    answer = office.post(page, good | {"version": version(office.get(page))}, follow=True)
    assert answer.status_code == 200
    assert 'role="status"' in answer.content.decode()
    after = row(noun)
    assert after.version == before + 1
    name = "title" if noun == "stage" else "release" if noun == "job" else "name"
    assert getattr(after, name) == good[name]


@pytest.mark.parametrize("noun", EDITS)
def test_a_bad_edit_changes_nothing_and_loses_nothing(noun: str, office: Browser) -> None:
    page, good, bad = filled(noun)
    before = row(noun).version
    sent = good | bad | {"version": version(office.get(page))}
    answer = office.post(page, sent)
    assert answer.status_code == 422
    assert title(answer).startswith("Error:")
    assert 'aria-invalid="true"' in answer.content.decode()
    assert 'class="say bad" role="status"' in answer.content.decode()
    assert row(noun).version == before
    for value in set(good.items()) - {(key, good.get(key, "")) for key in bad}:
        assert value[1] in answer.content.decode()


@pytest.mark.parametrize("noun", EDITS)
def test_an_overtaken_edit_shows_both_texts_and_can_be_sent_again(noun: str, office: Browser) -> None:
    page, good, _ = filled(noun)
    old = version(office.get(page))
    theirs = {"stage": ("title", "first coat"), "job": ("name", "Their job"), "contact": ("name", "Their Priya")}
    field, words = theirs.get(noun, ("name", f"Their {noun}"))
    tom = Browser()
    tom.force_login(builders.lead("Tom"))
    assert tom.post(page, good | {field: words, "version": old}).status_code == 302
    mine = office.post(page, good | {"version": old})
    assert mine.status_code == 409
    assert title(mine).startswith("Error:")
    assert f"as Tom left it {words}" in text(mine)
    assert good[field] in mine.content.decode()
    assert getattr(row(noun), field) == words
    assert version(mine) != old
    assert office.post(page, good | {"version": version(mine)}).status_code == 302
    assert getattr(row(noun), field) == good[field]


def test_words_to_the_client_follow_each_other_and_an_overtaken_one_shows_both(office: Browser) -> None:
    page = f"/office/jobs/{builders.job().pk}/words/"
    assert office.post(page, {"words": "", "version": 0}).status_code == 422
    assert office.post(page, {"words": "It is on time.", "version": 0}).status_code == 302
    mine = office.post(page, {"words": "A day later.", "version": 0})
    assert mine.status_code == 409
    assert "as Ines left it It is on time." in text(mine)
    assert "A day later." in text(mine)
    assert office.post(page, {"words": "A day later.", "version": version(mine)}).status_code == 302
    assert [row.words for row in Confirmation.objects.order_by("pk")] == ["It is on time.", "A day later."]
    nothing = office.post(page, {"words": "Written on a page from before all of it."})
    assert nothing.status_code == 409
    assert Confirmation.objects.count() == 2


def test_a_piece_comes_with_its_stages_in_the_order_of_the_work(office: Browser) -> None:
    job = builders.job(stages=[])
    kinds = [str(StageKind.objects.get(name=name).pk) for name in ("paint", "carving", "mould")]
    page = f"/office/jobs/{job.pk}/pieces/new/"
    assert office.post(page, {"name": "", "kinds": kinds}).status_code == 422
    assert office.post(page, {"name": "Snail 3", "kinds": kinds}).status_code == 302
    stages = Piece.objects.get(name="Snail 3").stages.all()
    assert [stage.kind.name for stage in stages] == ["carving", "mould", "paint"]


def test_a_stage_is_added_moved_and_removed(office: Browser) -> None:
    job = builders.job(stages=["carving", "mould"])
    piece = builders.piece(job)
    paint = StageKind.objects.get(name="paint")
    assert office.post(f"/office/pieces/{piece.pk}/stages/new/", {"kind": ""}).status_code == 422
    office.post(f"/office/pieces/{piece.pk}/stages/new/", {"kind": paint.pk, "maker": builders.person("Ada").pk})
    stage = builders.stage(job, "paint")
    assert stage.maker == builders.person("Ada")
    office.post(f"/office/stages/{stage.pk}/earlier/")
    assert [row.kind.name for row in piece.stages.all()] == ["carving", "paint", "mould"]
    office.post(f"/office/stages/{stage.pk}/later/")
    assert [row.kind.name for row in piece.stages.all()] == ["carving", "mould", "paint"]
    office.post(f"/office/stages/{stage.pk}/remove/")
    assert [row.kind.name for row in piece.stages.all()] == ["carving", "mould"]


def test_what_was_logged_at_is_not_removed(office: Browser) -> None:
    job = builders.job()
    stage = builders.stage(job)
    builders.log_done(stage)
    assert "so it stays" in text(office.post(f"/office/stages/{stage.pk}/remove/", follow=True))
    assert "so it stays" in text(office.post(f"/office/pieces/{stage.piece_id}/remove/", follow=True))
    assert Stage.objects.filter(pk=stage.pk).exists()
    empty = actions.add_piece(job, name="Snail 9", by=builders.lead(), now=NOW)
    assert "Snail 9 is removed." in text(office.post(f"/office/pieces/{empty.pk}/remove/", follow=True))


def test_somebody_new_gets_a_way_in_or_a_password(office: Browser) -> None:
    about = {"name": "Bo", "email": "Bo@BodkinYard.example", "role": "maker"}
    assert office.post("/office/people/new/", about | {"email": "bo"}).status_code == 422
    answer = office.post("/office/people/new/", about)
    bo = Person.objects.get(name="Bo")
    assert answer.headers["Location"] == f"/office/people/{bo.pk}/"
    assert invitations.address_for(bo) in office.get(f"/office/people/{bo.pk}/").content.decode()
    page = f"/office/people/{bo.pk}/password/"
    assert office.post("/office/people/new/", about).status_code == 422  # the address is taken
    for pair in (
        ("tinyword", "tinyword"),
        ("password1234", "password1234"),
        ("a long enough word", "another long word"),
    ):
        refused = office.post(page, dict(zip(("password", "again"), pair, strict=True)))
        assert refused.status_code == 422
        assert pair[0] not in refused.content.decode()
    assert office.post(page, {"password": "a long enough word", "again": "a long enough word"}).status_code == 302
    assert Browser().login(username="bo@bodkinyard.example", password="a long enough word")
    bo.refresh_from_db()
    assert bo.invited_at is None  # the link has no more to do


def test_the_last_lead_stays(office: Browser, ines: Person) -> None:
    page = f"/office/people/{ines.pk}/"
    sent = {"name": "Ines", "email": ines.email, "role": "maker", "is_active": "on", "version": 1}
    answer = office.post(page, sent)
    assert answer.status_code == 422
    assert "Make somebody else a lead first." in text(answer)
    assert Person.objects.get(pk=ines.pk).role == Role.LEAD


def test_a_time_zone_that_is_none_and_a_kind_that_is_there_already(office: Browser) -> None:
    sent = {"name": "Yard", "time_zone": "Europe/Atlantis", "undo_minutes": 10, "version": 1}
    assert "is no time zone" in text(office.post("/office/settings/", sent))
    assert "already" in text(office.post("/office/kinds/new/", {"name": "Carving", "sentence": "", "crew": "1"}))


def test_a_client_and_a_contact_are_added(office: Browser) -> None:
    assert office.post("/office/clients/new/", {"name": ""}).status_code == 422
    to = office.post("/office/clients/new/", {"name": "Harbour Museum"}).headers["Location"]
    assert office.post(f"{to}contacts/new/", {"name": "Wen", "email": "wen"}).status_code == 422
    office.post(f"{to}contacts/new/", {"name": "Wen", "email": ""})
    assert "has no address and gets no letters" in text(office.get(to))


def test_a_follower_gets_a_link_that_can_be_revoked_and_given_anew(office: Browser) -> None:
    job = builders.job()
    page = f"/office/jobs/{job.pk}/"
    office.post(f"{page}contacts/new/", {"name": "Priya", "email": "priya@wharfside.example"})
    link = Link.objects.get()

    def address() -> str:
        html = office.get(page).content.decode()
        return html.split('readonly value="')[1].split('"')[0] if "readonly" in html else ""

    first = address()
    assert urlsplit(first).path.startswith("/with/")
    answer = office.post(f"/office/links/{link.pk}/revoke/", follow=True)
    assert "The link of Priya no longer opens." in text(answer)
    assert "The link was revoked and no longer opens." in text(answer)
    assert "Give a new link (the old address stays closed)" in text(answer)
    assert address() == ""
    office.post(f"{page}contacts/{link.contact_id}/link/")
    assert address() not in {"", first}


def test_a_link_is_not_given_to_somebody_elses_contact(office: Browser) -> None:
    job, other = builders.job(), builders.job("Boot", client="Hillfoot School", release=Release.LOOKED)
    stranger = builders.contact(other, "Sam")
    answer = office.post(f"/office/jobs/{job.pk}/contacts/{stranger.pk}/link/", follow=True)
    assert "belongs to another client" in text(answer)
    assert not Link.objects.exists()


def test_a_piece_and_a_stage_that_are_sent_twice_are_made_once(office: Browser) -> None:
    job = builders.job(stages=("carving",))
    piece = job.pieces.get()
    kind = StageKind.objects.get(name="paint")
    one = {"name": "Bracket", "once": str(uuid4()), "method": "own"}
    two = {"kind": kind.pk, "title": "", "once": str(uuid4())}
    for _ in range(2):
        assert office.post(f"/office/jobs/{job.pk}/pieces/new/", one).status_code == 302
        assert office.post(f"/office/pieces/{piece.pk}/stages/new/", two).status_code == 302
    assert [str(each) for each in job.pieces.all()] == [piece.name, "Bracket"]
    assert [str(each) for each in piece.stages.all()] == ["carving", "paint"]
    form = office.get(f"/office/pieces/{piece.pk}/").content.decode()
    assert 'type="hidden" name="once"' in form
