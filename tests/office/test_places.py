"""Places: what stands there, how many at once, and that none goes while it is needed."""

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from studio.workshop import actions
from studio.workshop.models import Job, Person, Place, Stage, StageKind
from tests import builders
from tests.conftest import NOW
from tests.office.rows import text, title, version
from tests.office.test_days import fields, forget_errands, plan_waits


def bench() -> Place:
    return Place.objects.get(name="mould bench")


def test_the_list_says_what_is_to_be_done_at_each(office: Browser) -> None:
    Place.objects.filter(name="mould bench").update(capacity=1)
    Place.objects.filter(name="carving").update(capacity=2)
    said = text(office.get("/office/places/"))
    assert "mould bench One piece at once. No stages still to be done there." in said
    job = builders.job(stages=["carving", "mould", "paint"])
    said = text(office.get("/office/places/"))
    assert "mould bench One piece at once. One stage still to be done there." in said
    assert "carving Two pieces at once. One stage still to be done there." in said
    builders.log_done(builders.stage(job, "mould"))
    assert "mould bench One piece at once. No stages" in text(office.get("/office/places/"))
    Job.objects.update(closed_on=NOW.date())
    assert "carving Two pieces at once. No stages" in text(office.get("/office/places/"))


def test_a_place_is_added_and_changed(office: Browser) -> None:
    forget_errands()
    answer = office.post("/office/places/new/", {"name": "yard", "capacity": "3"}, follow=True)
    assert "Yard is added." in text(answer)
    yard = Place.objects.get(name="yard")
    assert (yard.capacity, yard.position) == (3, Place.objects.count())
    assert plan_waits()
    forget_errands()
    page = f"/office/places/{yard.pk}/"
    sent = {"name": "back yard", "capacity": "4", "version": version(office.get(page))}
    assert "Back yard is kept as you wrote it." in text(office.post(page, sent, follow=True))
    yard.refresh_from_db()
    assert (yard.name, yard.capacity) == ("back yard", 4)
    assert plan_waits()


@pytest.mark.parametrize("capacity", ["0", "100", "-1", "many", "", "1.5"])
def test_how_many_at_once_is_a_number_from_1_to_99(capacity: str, office: Browser) -> None:
    for page in ("/office/places/new/", f"/office/places/{bench().pk}/"):
        answer = office.post(page, {"name": "trough", "capacity": capacity, "version": "1"})
        assert answer.status_code == 422
        assert title(answer).startswith("Error:")
        assert "Write a number from 1 to 99." in text(answer)
        assert fields(answer.content.decode())["name"] == "trough"
    assert not Place.objects.filter(name="trough").exists()


def test_two_places_of_one_name_are_refused(office: Browser) -> None:
    sent = {"name": "Mould Bench", "capacity": "1", "version": "1"}
    assert "called Mould Bench already" in text(office.post("/office/places/new/", sent))
    booth = Place.objects.get(name="booth")
    assert "called Mould Bench already" in text(office.post(f"/office/places/{booth.pk}/", sent))
    assert office.post(f"/office/places/{bench().pk}/", sent).status_code == 302  # its own name, written otherwise


def test_a_change_that_somebody_else_has_overtaken_shows_both(office: Browser) -> None:
    page = f"/office/places/{bench().pk}/"
    old = version(office.get(page))
    tom = Browser()
    tom.force_login(builders.lead("Tom"))
    assert tom.post(page, {"name": "mould bench", "capacity": "2", "version": old}).status_code == 302
    mine = {"name": "wet bench", "capacity": "3", "version": old}
    answer = office.post(page, mine)
    assert answer.status_code == 409
    assert "as Tom left it mould bench" in text(answer)
    assert "as Tom left it 2" in text(answer)
    assert office.post(page, mine | {"version": version(answer)}).status_code == 302


def test_a_place_stays_while_stages_need_it_and_its_page_names_them(office: Browser) -> None:
    job = builders.job(stages=["mould"])
    page = f"/office/places/{bench().pk}/"
    stage = builders.stage(job, "mould")
    answer = office.get(page)
    assert "Talking watering can: mould" in text(answer)
    assert f'href="/office/stages/{stage.pk}/"' in answer.content.decode()
    assert "Remove this place" not in text(answer)
    refused = office.post(f"{page}remove/")
    assert refused.status_code == 422
    assert "Some stages are still to be done at mould bench." in text(refused)
    assert Place.objects.filter(name="mould bench").exists()


def test_a_place_that_nothing_needs_goes(office: Browser) -> None:
    job = builders.job(stages=["mould"])
    builders.log_done(builders.stage(job, "mould"))
    forget_errands()
    page = f"/office/places/{bench().pk}/"
    assert "Remove this place" in text(office.get(page))
    asked = text(office.get(f"{page}remove/"))
    assert "Mould will name no place until you choose another one." in asked
    answer = office.post(f"{page}remove/", follow=True)
    assert "Mould bench is removed." in text(answer)
    assert not Place.objects.filter(name="mould bench").exists()
    assert StageKind.objects.get(name="mould").place is None
    assert Stage.objects.get().place is None
    assert plan_waits()
    assert office.get(page).status_code == 404


def test_no_place_at_all(office: Browser) -> None:
    Place.objects.all().delete()
    assert "there is always room" in text(office.get("/office/places/"))


def test_the_lists_ask_as_much_for_fifty_as_for_one(office: Browser, ines: Person) -> None:
    addresses = ("/office/places/", f"/office/places/{bench().pk}/")

    def questions() -> list[int]:
        counts = []
        for address in addresses:
            office.get(address)
            with CaptureQueriesContext(connection) as asked:
                assert office.get(address).status_code == 200
            counts.append(len(asked))
        return counts

    job = builders.job(stages=["mould"])
    at_one = questions()
    mould = StageKind.objects.get(name="mould")
    for number in range(50):
        actions.add_place(name=f"rack {number}", capacity=1, by=ines, now=NOW)
        piece = actions.add_piece(job, name=f"Snail {number}", by=ines, now=NOW)
        actions.add_stage(piece, kind=mould, by=ines, now=NOW)
    assert questions() == at_one
    for address in addresses:
        assert "?after=" in office.get(address).content.decode()
        assert office.get(address, {"after": "nonsense~"}).status_code == 200
