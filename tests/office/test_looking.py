"""Looking at photos: one tap shows them, one takes them off again, and both may be sent twice."""

import re

import pytest
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.models import Entry, Job, Notice, NoticeState, Photo, Release
from tests import builders
from tests.conftest import NOW
from tests.office.rows import add_photo, look, run_due, text, title, version

HTMX = {"HX-Request": "true"}


def drawn(office: Browser, entry: Entry, **more: object) -> dict[str, object]:
    """What the form of a group would send as its page stands now."""
    html = office.get("/office/photos/").content.decode()
    (group,) = [part for part in html.split("<li ") if f'id="look-{entry.pk}"' in part]
    return {"photo": re.findall(r'name="photo" value="(\d+)"', group), **more}


def test_one_tap_shows_all_of_an_entry_with_the_words_as_changed(office: Browser) -> None:
    entry = look(photos=2)
    assert "Two photos wait for your look." in text(office.get("/office/waiting/"))
    sent = drawn(office, entry, sentence="Rasped by eye.")
    answer = office.post(f"/office/entries/{entry.pk}/show/", sent)
    assert "The client sees carving of Talking watering can now." in text(answer)
    assert "The letter to Priya leaves at 10:52." in text(answer)
    assert Photo.objects.shown().count() == 2
    assert Entry.objects.get().sentence == "Rasped by eye."
    assert Notice.objects.get().state == NoticeState.GOING
    assert "Nothing waits for you." in text(office.get("/office/waiting/"))


def test_shown_twice_is_shown_once(office: Browser) -> None:
    entry = look()
    sent = drawn(office, entry, sentence="Rasped.")
    for said in ("sees carving of Talking watering can now.", "sees carving of Talking watering can already."):
        answer = office.post(f"/office/entries/{entry.pk}/show/", sent)
        assert answer.status_code == 200
        assert said in text(answer)
    assert Photo.objects.shown().count() == 1
    assert Notice.objects.count() == 1


def test_htmx_gets_one_root_with_the_result_and_the_way_back(office: Browser) -> None:
    entry = look()
    sent = drawn(office, entry, sentence="Rasped.")
    answer = office.post(f"/office/entries/{entry.pk}/show/", sent, headers=HTMX)
    html = answer.content.decode().strip()
    assert html.startswith(f'<li class="look one" id="look-{entry.pk}" tabindex="-1" autofocus>')
    assert "<html" not in html
    assert 'role="status"' in html
    assert "No photos wait for your look." in html
    assert f'formaction="/office/entries/{entry.pk}/look-again/"' in html


def test_nobody_shows_or_keeps_what_was_not_on_the_page(office: Browser) -> None:
    entry = look()
    before = drawn(office, entry, sentence="Rasped by eye.")
    add_photo(entry.stage)
    run_due()
    first, second = Photo.objects.order_by("pk")
    answer = office.post(f"/office/entries/{entry.pk}/show/", before, headers=HTMX)
    assert set(Photo.objects.shown()) == {first}
    assert f'name="photo" value="{second.pk}"' in answer.content.decode()
    assert "One photo waits for your look." in text(answer)
    office.post(f"/office/entries/{entry.pk}/keep/", before)
    assert set(Photo.objects.to_look_at()) == {second}


@pytest.mark.parametrize("htmx", [True, False])
@pytest.mark.parametrize("act", ["show", "keep", "look-again"])
@pytest.mark.parametrize("named", [[], ["999999"], ["x"]])
def test_no_photo_named_is_none_changed_and_the_words_stay(
    act: str, named: list[str], htmx: bool, office: Browser
) -> None:
    entry, other = look(photos=2), look("Ammonite, 2.1 m")
    sent = {"sentence": "Half written", "photo": [*named, str(other.photos.get().pk)], "again": named}
    answer = office.post(f"/office/entries/{entry.pk}/{act}/", sent, headers=HTMX if htmx else {})
    assert answer.status_code == 422
    said = text(answer)
    assert "Nothing was changed, because no photo was chosen." in said
    assert "Two photos wait for your look here, and the client sees none." in said
    assert "The client sees" not in said
    assert "Half written</textarea>" in answer.content.decode()
    assert Photo.objects.to_look_at().count() == 3
    assert htmx or title(answer).startswith("Error:")
    assert Entry.objects.get(pk=entry.pk).sentence != "Half written"


def test_words_typed_for_a_group_that_is_gone_can_still_be_kept(office: Browser) -> None:
    entry = look()
    photo = entry.photos.get()
    actions.keep_for_us([photo], by=builders.lead(), now=NOW)
    answer = office.post(f"/office/entries/{entry.pk}/show/", {"sentence": "Half written"})
    assert answer.status_code == 422
    assert "No photos wait for your look here, and the client sees none." in text(answer)
    assert "Half written</textarea>" in answer.content.decode()
    assert f'action="/office/entries/{entry.pk}/"' in answer.content.decode()
    office.post(f"/office/entries/{entry.pk}/", {"sentence": "Half written", "version": version(answer)})
    assert Entry.objects.get().sentence == "Half written"


@pytest.mark.parametrize("htmx", [True, False])
def test_showing_is_undone_with_its_words_and_its_letter(htmx: bool, office: Browser) -> None:
    entry = look(photos=2)
    sent = drawn(office, entry, sentence="Rasped by eye.")
    shown = office.post(f"/office/entries/{entry.pk}/show/", sent, headers=HTMX if htmx else {})
    assert Notice.objects.get().state == NoticeState.GOING
    undo = re.findall(r'name="again" value="(\d+)"', shown.content.decode())
    assert undo == sent["photo"]
    back = office.post(
        f"/office/entries/{entry.pk}/look-again/", {"again": undo, "photo": "1"}, headers=HTMX if htmx else {}
    )
    assert "Taken back: it waits for your look." in text(back)
    assert "Rasped by eye.</textarea>" in back.content.decode()
    assert "Two photos wait for your look." in text(back)
    assert Photo.objects.to_look_at().count() == 2
    assert Notice.objects.get().state == NoticeState.OWED
    assert Entry.objects.get().released_at is None


def test_keeping_is_undone_with_the_words_as_they_were_typed(office: Browser) -> None:
    entry = look()
    kept = office.post(f"/office/entries/{entry.pk}/keep/", drawn(office, entry, sentence="Half written"))
    html = kept.content.decode()
    assert not Photo.objects.to_look_at().exists()
    assert '<input type="hidden" name="sentence" value="Half written">' in html
    undo = {"again": re.findall(r'name="again" value="(\d+)"', html), "sentence": "Half written"}
    back = office.post(f"/office/entries/{entry.pk}/look-again/", undo)
    assert "Half written</textarea>" in back.content.decode()
    assert Photo.objects.to_look_at().count() == 1


def test_the_way_back_is_for_what_was_just_done_and_nothing_else(office: Browser) -> None:
    entry = look(photos=2)
    first, second = Photo.objects.order_by("pk")
    office.post(f"/office/photos/{first.pk}/show/")
    kept = office.post(f"/office/entries/{entry.pk}/keep/", drawn(office, entry), headers=HTMX).content.decode()
    assert set(Photo.objects.shown()) == {first}
    assert re.findall(r'name="again" value="(\d+)"', kept) == [str(second.pk)]
    office.post(f"/office/entries/{entry.pk}/look-again/", {"again": second.pk}, headers=HTMX)
    assert set(Photo.objects.shown()) == {first}
    assert set(Photo.objects.to_look_at()) == {second}


def test_one_photo_is_kept_for_us_and_the_words_stay_typed(office: Browser) -> None:
    entry = look(photos=2)
    photo = Photo.objects.first()
    assert photo
    answer = office.post(f"/office/photos/{photo.pk}/keep/", {"sentence": "Half written"}, headers=HTMX)
    assert "Half written</textarea>" in answer.content.decode()
    assert answer.content.decode().count("<img") == 1
    assert f'name="again" value="{photo.pk}"' in answer.content.decode()
    office.post(f"/office/entries/{entry.pk}/show/", drawn(office, entry, sentence="Done."))
    assert Photo.objects.shown().get() != photo
    office.post(f"/office/photos/{photo.pk}/show/")
    assert Photo.objects.shown().count() == 2


def test_a_sentence_that_is_too_long_is_not_lost(office: Browser) -> None:
    entry = look()
    sent = drawn(office, entry, sentence="x" * 301)
    answer = office.post(f"/office/entries/{entry.pk}/show/", sent, headers=HTMX)
    assert answer.status_code == 422
    assert "x" * 301 in answer.content.decode()
    assert not Photo.objects.shown().exists()


def test_back_leads_nowhere_else(office: Browser) -> None:
    entry = look()
    keep, photo = f"/office/photos/{entry.photos.get().pk}/keep/", {"back": "https://elsewhere.example/"}
    assert office.post(keep, photo).headers["Location"] == "/office/photos/"
    page = f"/office/jobs/{entry.stage.piece.job_id}/"
    assert office.post(keep, {"back": page}).headers["Location"] == page


@pytest.mark.parametrize("act", ["send-word", "say-nothing"])
def test_done_without_a_photo_waits_for_a_word(act: str, office: Browser) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    entry = builders.log_done(builders.stage(job), photo=False)
    assert "One stage waits for your word." in text(office.get("/office/waiting/"))
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
    said = text(office.get("/office/waiting/"))
    assert "One photo did not come out and one stage waits for your word." in said
    assert "Talking watering can, carving: Ada's photo of 10:42 did not come out." in said


def test_taken_back_in_the_meantime_is_said(office: Browser) -> None:
    entry = look()
    actions.take_back(entry, by=builders.person("Ada"), now=NOW)
    assert "taken back" in text(office.post(f"/office/entries/{entry.pk}/send-word/", follow=True))
    photo = Photo.objects.get()
    assert "not there any more" in text(office.post(f"/office/photos/{photo.pk}/show/", follow=True))


def test_a_closed_job_waits_for_no_word(office: Browser) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    builders.log_done(builders.stage(job), photo=False)
    Job.objects.update(closed_on=NOW.date())
    assert "Nothing waits for you." in text(office.get("/office/waiting/"))
    assert "Done without a photo to show" not in text(office.get("/office/photos/"))


def test_a_photo_that_is_not_developed_is_not_said_to_be_shown(office: Browser) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.log_done(builders.stage(job))
    photo = Photo.objects.get()
    for act in ("show", "keep"):
        answer = office.post(f"/office/photos/{photo.pk}/{act}/")
        assert answer.status_code == 422
        assert "That photo is not developed" in text(answer)
    assert Photo.objects.get().for_client


def test_several_photos_are_counted_on_the_button_that_shows_them(office: Browser) -> None:
    look(photos=2)
    look("Ammonite, 2.1 m")
    add_photo(look("Giant boot", photos=2).stage, "green")
    run_due()
    said = text(office.get("/office/photos/"))
    assert "Show both Keep both" in said
    assert "Show all three Keep all three" in said
    assert "Show the client Keep for us" in said
