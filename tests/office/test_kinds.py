"""Kinds of work: what a new stage begins from, in words and in a form."""

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import Person, Place, Stage, StageKind
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text, title, version
from tests.office.test_days import fields, forget_errands, plan_waits

GILDING = {
    "name": "gilding",
    "sentence": "Leaf by leaf.",
    "work_min": "6 h 30",
    "crew": "2",
    "cure_min": "12",
    "cure_holds": "on",
}


def mould() -> StageKind:
    return StageKind.objects.get(name="mould")


def test_the_page_says_in_words_what_a_stage_begins_from(office: Browser) -> None:
    booth = Place.objects.get(name="booth")
    office.post("/office/kinds/new/", GILDING | {"place": booth.pk})
    said = text(office.get("/office/kinds/"))
    assert "Two people, booth: 6½ hours each for a piece of one metre." in said
    assert "Then it sets or dries for 12 hours, and its place stays taken meanwhile." in said
    assert said.count("The pieces of a job meet here.") == 1  # fit-up, and no other
    assert "A first guess at 20 °C" in said


def test_a_new_kind_with_all_that_a_stage_begins_from(office: Browser) -> None:
    forget_errands()
    booth = Place.objects.get(name="booth")
    answer = office.post("/office/kinds/new/", GILDING | {"place": booth.pk, "meets": "on"}, follow=True)
    assert "Gilding is added." in text(answer)
    kind = StageKind.objects.get(name="gilding")
    assert (kind.work_min, kind.crew, kind.place, kind.cure_min) == (390, 2, booth, 720)
    assert kind.cure_holds
    assert kind.meets
    assert plan_waits()
    assert text(answer).count("The pieces of a job meet here.") == 2


def test_a_kind_with_nothing_but_a_name(office: Browser) -> None:
    assert office.post("/office/kinds/new/", {"name": "looking", "crew": "1"}).status_code == 302
    kind = StageKind.objects.get(name="looking")
    assert (kind.work_min, kind.crew, kind.place, kind.cure_min) == (0, 1, None, 0)
    assert "One person: no hours for a piece of one metre." in text(office.get("/office/kinds/"))


def test_a_changed_kind_leaves_the_stages_that_are_set_out(office: Browser) -> None:
    stage = builders.stage(builders.job(stages=["mould"]), "mould")
    forget_errands()
    page = f"/office/kinds/{mould().pk}/"
    StageKind.objects.filter(name="mould").update(work_min=375, crew=2, cure_min=2880)
    shown = fields(office.get(page).content.decode())
    assert (shown["work_min"], shown["crew"], shown["cure_min"]) == ("6.25", "2", "48")
    sent = {"name": "mould", "sentence": "", "work_min": "7:30", "crew": "1", "cure_min": "", "version": "1"}
    assert "Mould is kept as you wrote it." in text(office.post(page, sent, follow=True))
    kind = mould()
    assert (kind.work_min, kind.crew, kind.place, kind.cure_min, kind.cure_holds) == (450, 1, None, 0, False)
    assert plan_waits()
    kept = Stage.objects.get(pk=stage.pk)
    told = ("work_min", "crew", "cure_min", "cure_holds", "place")
    assert [getattr(kept, name) for name in told] == [getattr(stage, name) for name in told]
    assert kept.work_min != kind.work_min


@pytest.mark.parametrize(
    ("odd", "sentence"),
    [
        ({"work_min": "six"}, "Write the hours like 6, 6.5 or 6:30."),
        ({"work_min": "10001"}, "more than 10,000 hours"),
        ({"cure_min": "-1"}, "Write the hours like 6, 6.5 or 6:30."),
        ({"crew": "0"}, "Write a number from 1 to 6."),
        ({"crew": "7"}, "Write a number from 1 to 6."),
        ({"crew": ""}, "Write a number from 1 to 6."),
        ({"name": ""}, "Give it a name."),
        ({"name": "Mould"}, "There is a kind of work called Mould already."),
    ],
)
def test_what_cannot_be_gets_a_sentence_and_nothing_is_lost(
    odd: dict[str, str], sentence: str, office: Browser
) -> None:
    paint = StageKind.objects.get(name="paint")
    for page in ("/office/kinds/new/", f"/office/kinds/{paint.pk}/"):
        sent = GILDING | odd | {"version": "1"}
        answer = office.post(page, sent)
        assert answer.status_code == 422
        assert title(answer).startswith("Error:")
        assert sentence in text(answer)
        shown = fields(answer.content.decode())
        assert {name: shown[name] for name in ("name", "work_min", "crew", "cure_min")} == {
            name: sent[name] for name in ("name", "work_min", "crew", "cure_min")
        }
    assert not StageKind.objects.filter(name="gilding").exists()


def test_a_change_that_somebody_else_has_overtaken_shows_both_in_hours(office: Browser) -> None:
    page = f"/office/kinds/{mould().pk}/"
    old = version(office.get(page))
    tom = Browser()
    tom.force_login(builders.lead("Tom"))
    booth = Place.objects.get(name="booth")
    theirs = {"name": "mould", "work_min": "6.25", "crew": "2", "cure_min": "48", "place": booth.pk, "version": old}
    assert tom.post(page, theirs).status_code == 302
    mine = GILDING | {"version": old}
    answer = office.post(page, mine)
    assert answer.status_code == 409
    said = text(answer)
    assert "as Tom left it 6.25" in said
    assert "as Tom left it booth" in said
    assert "as Tom left it 48" in said
    assert office.post(page, mine | {"version": version(answer)}).status_code == 302


def test_the_caution_stands_beside_the_setting_time(office: Browser) -> None:
    html = office.get("/office/kinds/new/").content.decode()
    beside = html.split('id="kindform-cure_min_helptext">')[1].split("</p>")[0]
    for words in ("first guess at 20 °C", "data sheet", "the cold", "says when it is hard", "local rules", "trained"):
        assert words in beside
    assert 'aria-describedby="kindform-cure_min_helptext"' in html


def test_the_page_asks_as_much_for_fifty_as_for_one(office: Browser, ines: Person) -> None:
    def questions() -> int:
        office.get("/office/kinds/")
        with CaptureQueriesContext(connection) as asked:
            assert office.get("/office/kinds/").status_code == 200
        return len(asked)

    before = questions()
    for number in range(50):
        place = actions.add_place(name=f"rack {number}", capacity=1, by=ines, now=NOW)
        actions.add_kind(name=f"step {number}", sentence="", place=place, by=ines, now=NOW)
    assert questions() == before


def test_a_kind_that_was_mistyped_can_be_removed(office: Browser) -> None:
    office.post("/office/kinds/new/", {"name": "giliding", "crew": "1"})
    kind = StageKind.objects.get(name="giliding")
    assert "Remove this kind" in text(office.get(f"/office/kinds/{kind.pk}/"))
    assert "Remove giliding?" in text(office.get(f"/office/kinds/{kind.pk}/remove/"))
    assert "Giliding is removed." in text(office.post(f"/office/kinds/{kind.pk}/remove/", follow=True))
    assert not StageKind.objects.filter(name="giliding").exists()


def test_a_kind_that_is_in_use_or_set_out_by_a_method_stays(office: Browser) -> None:
    job = builders.job(stages=["mould"])
    office.post("/office/kinds/new/", {"name": "gilding", "crew": "1"})
    gilding = StageKind.objects.get(name="gilding")
    actions.add_stage(job.pieces.get(), kind=gilding, by=builders.lead(), now=NOW)
    for kind, why in ((gilding, "There are stages of gilding"), (mould(), "New jobs are set out with mould")):
        assert "Remove this kind" not in text(office.get(f"/office/kinds/{kind.pk}/"))
        answer = office.post(f"/office/kinds/{kind.pk}/remove/")
        assert answer.status_code == 422
        assert why in text(answer)
        assert StageKind.objects.filter(pk=kind.pk).exists()


def test_a_kind_that_is_all_that_somebody_can_do_stays(office: Browser, ada: Person) -> None:
    office.post("/office/kinds/new/", {"name": "gilding", "crew": "1"})
    gilding = StageKind.objects.get(name="gilding")
    ada.skills.set([gilding])
    answer = office.post(f"/office/kinds/{gilding.pk}/remove/")
    assert answer.status_code == 422
    assert "gilding is among what Ada can do, so it stays. Change their work first." in text(answer)
