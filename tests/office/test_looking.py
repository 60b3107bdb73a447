"""Looking at photos: one tap shows them, one takes them off again, and both may be sent twice."""

import pytest
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.models import Entry, Notice, NoticeState, Photo, Release
from tests import builders
from tests.conftest import NOW
from tests.office.rows import look, run_due, text

HTMX = {"HX-Request": "true"}


def test_one_tap_shows_all_of_an_entry_with_the_words_as_changed(office: Browser) -> None:
    entry = look(photos=2)
    assert "Two photos wait for your look." in text(office.get("/office/"))
    answer = office.post(f"/office/entries/{entry.pk}/show/", {"sentence": "Rasped by eye."}, follow=True)
    assert "The client sees carving of Talking watering can now." in text(answer)
    assert "The letter to Priya leaves at 10:52." in text(answer)
    assert Photo.objects.shown().count() == 2
    assert Entry.objects.get().sentence == "Rasped by eye."
    assert Notice.objects.get().state == NoticeState.GOING
    assert "Nothing waits for you." in text(office.get("/office/"))


def test_shown_twice_is_shown_once(office: Browser) -> None:
    entry = look()
    for _ in range(2):
        answer = office.post(f"/office/entries/{entry.pk}/show/", {"sentence": "Rasped."}, follow=True)
        assert answer.status_code == 200
    assert Photo.objects.shown().count() == 1
    assert Notice.objects.count() == 1


def test_htmx_gets_one_root_with_the_result_and_the_way_back(office: Browser) -> None:
    entry = look()
    answer = office.post(f"/office/entries/{entry.pk}/show/", {"sentence": "Rasped."}, headers=HTMX)
    html = answer.content.decode().strip()
    assert html.startswith(f'<li class="look one" id="look-{entry.pk}" tabindex="-1" autofocus>')
    assert "<html" not in html
    assert 'role="status"' in html
    assert "No photos wait for your look." in html
    assert f'formaction="/office/entries/{entry.pk}/keep/"' in html


def test_the_way_back_is_for_what_was_just_done_and_nothing_else(office: Browser) -> None:
    entry = look(photos=2)
    first, second = Photo.objects.order_by("pk")
    office.post(f"/office/photos/{first.pk}/show/")
    keep, show = (f"/office/entries/{entry.pk}/{act}/" for act in ("keep", "show"))
    kept = office.post(keep, headers=HTMX).content.decode()
    assert set(Photo.objects.shown()) == {first}
    assert f'name="photo" value="{second.pk}"' in kept
    assert f'name="photo" value="{first.pk}"' not in kept
    office.post(show, {"photo": second.pk}, headers=HTMX)
    assert set(Photo.objects.shown()) == {first, second}
    office.post(keep, {"photo": second.pk}, headers=HTMX)
    assert set(Photo.objects.shown()) == {first}


def test_one_photo_is_kept_for_us_and_the_words_stay_typed(office: Browser) -> None:
    entry = look(photos=2)
    photo = Photo.objects.first()
    assert photo
    answer = office.post(f"/office/photos/{photo.pk}/keep/", {"sentence": "Half written"}, headers=HTMX)
    assert "Half written</textarea>" in answer.content.decode()
    assert answer.content.decode().count("<img") == 1
    office.post(f"/office/entries/{entry.pk}/show/", {"sentence": "Done."})
    assert Photo.objects.shown().get() != photo
    office.post(f"/office/photos/{photo.pk}/show/")
    assert Photo.objects.shown().count() == 2


def test_a_sentence_that_is_too_long_is_not_lost(office: Browser) -> None:
    entry = look()
    answer = office.post(f"/office/entries/{entry.pk}/show/", {"sentence": "x" * 301}, headers=HTMX)
    assert answer.status_code == 422
    assert "x" * 301 in answer.content.decode()
    assert not Photo.objects.shown().exists()


def test_back_leads_nowhere_else(office: Browser) -> None:
    entry = look()
    away = office.post(f"/office/entries/{entry.pk}/keep/", {"back": "https://elsewhere.example/"})
    assert away.headers["Location"] == "/office/photos/"
    page = f"/office/jobs/{entry.stage.piece.job_id}/"
    assert office.post(f"/office/entries/{entry.pk}/keep/", {"back": page}).headers["Location"] == page


@pytest.mark.parametrize("act", ["send-word", "say-nothing"])
def test_done_without_a_photo_waits_for_a_word(act: str, office: Browser) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    entry = builders.log_done(builders.stage(job), photo=False)
    assert "One stage waits for your word." in text(office.get("/office/"))
    assert "Done without a photo to show" in text(office.get("/office/photos/"))
    said = text(office.post(f"/office/entries/{entry.pk}/{act}/", follow=True))
    assert Notice.objects.get().state == (NoticeState.GOING if act == "send-word" else NoticeState.WITHDRAWN)
    assert ("One letter leaves soon." if act == "send-word" else "Nobody is told of it.") in said
    assert "Done without a photo to show" not in said


def test_a_photo_that_did_not_come_out_is_said_and_its_stage_waits_for_a_word(office: Browser) -> None:
    job = builders.job()
    builders.link(job)
    builders.log_done(builders.stage(job), content=b"\xff\xd8\xff\xe0" + b"\0" * 500)
    run_due()
    said = text(office.get("/office/"))
    assert "One stage waits for your word." in said
    assert "Talking watering can, carving: Ada's photo of 10:42 did not come out." in said


def test_taken_back_in_the_meantime_is_said(office: Browser) -> None:
    entry = look()
    actions.take_back(entry, by=builders.person("Ada"), now=NOW)
    assert "taken back" in text(office.post(f"/office/entries/{entry.pk}/send-word/", follow=True))
    photo = Photo.objects.get()
    assert "not there any more" in text(office.post(f"/office/photos/{photo.pk}/show/", follow=True))
