"""Logging at the bench, as a browser without script does it: a form, an answer, another page."""

import errno
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.db import OperationalError
from django.test import Client
from django.urls import reverse

from studio.workshop import actions, storage
from studio.workshop.models import Entry, Photo, Release, Role, Says, Wanted
from tests import builders
from tests.bench.conftest import film, page_of, photo, send
from tests.conftest import NOW


def entry_page(entry: Entry) -> str:
    return reverse("bench-kept", args=[entry.pk])


def test_done_with_a_photo_is_one_form(ada: Client) -> None:
    stage = builders.stage(builders.job())
    response = send(ada, stage, photo())
    entry = Entry.objects.get()
    assert (response.status_code, response.headers["Location"]) == (303, entry_page(entry))
    assert (entry.says, entry.by.name, entry.at) == (Says.DONE, "Ada", NOW)
    assert entry.photos.count() == 1
    assert builders.stage(stage.piece.job).done_at == NOW
    page = ada.get(entry_page(entry)).content.decode()
    assert "Kept. Talking watering can, carving done, 10:42." in page
    assert "logged this" not in page


def test_the_same_form_sent_three_times_is_one_entry(ada: Client) -> None:
    stage, entry = builders.stage(builders.job()), uuid4()
    answers = {send(ada, stage, photo(), entry=entry).headers["Location"] for _ in range(3)}
    assert answers == {reverse("bench-kept", args=[entry])}
    assert (Entry.objects.count(), Photo.objects.count()) == (1, 1)


def test_done_without_a_photo_is_a_full_answer(ada: Client) -> None:
    stage = builders.stage(builders.job())
    assert send(ada, stage).status_code == 303
    assert Entry.objects.get().says == Says.DONE
    assert not Photo.objects.exists()


def test_a_photo_only_leaves_the_stage_as_it_was(ada: Client) -> None:
    stage = builders.stage(builders.job())
    response = send(ada, stage, photo(), photo("navy"), says="photo")
    assert (Entry.objects.get().says, Photo.objects.count()) == (Says.PHOTO, 2)
    assert builders.stage(stage.piece.job).done_at is None
    assert (
        "Kept. 2 photos of Talking watering can, carving, 10:42."
        in ada.get(response.headers["Location"]).content.decode()
    )


def test_a_page_that_came_back_with_its_old_id_loses_no_photo(ada: Client) -> None:
    stage, entry = builders.stage(builders.job()), uuid4()
    send(ada, stage, photo(), entry=entry)
    for _ in range(2):  # and the second photo, sent twice, is kept once
        send(ada, stage, photo("navy"), entry=entry)
    assert sorted(Entry.objects.values_list("says", flat=True)) == ["done", "photo"]
    assert Photo.objects.count() == 2


def test_without_a_sentence_the_studio_s_own_is_used(ada: Client) -> None:
    job = builders.job()
    send(ada, builders.stage(job), photo())
    send(ada, builders.stage(job, "mould"), photo(), sentence="The seam runs\r\nalong the spout.", eyes="us")
    carving, mould = Entry.objects.order_by("stage__position")
    assert carving.sentence == carving.stage.kind.sentence
    assert carving.for_client
    assert mould.sentence == "The seam runs along the spout."
    assert not mould.for_client
    assert not mould.photos.get().for_client


def test_a_film_leaves_the_stage_done_and_says_so(ada: Client) -> None:
    stage = builders.stage(builders.job())
    response = ada.get(send(ada, stage, film()).headers["Location"])
    assert "Done is kept. That is a film, not a photo. Take a photo and send it." in response.content.decode()
    assert builders.stage(stage.piece.job).done_at == NOW


def test_photos_beside_a_film_are_kept(ada: Client) -> None:
    stage = builders.stage(builders.job())
    response = ada.get(send(ada, stage, photo(), film(), says="photo").headers["Location"])
    assert "That is a film, not a photo." in response.content.decode()
    assert Photo.objects.count() == 1


def test_a_film_alone_as_photo_only_keeps_nothing_but_the_words(ada: Client) -> None:
    stage = builders.stage(builders.job())
    response = send(ada, stage, film(), says="photo", sentence="The seam is clean.", eyes="us")
    page = response.content.decode()
    assert response.status_code == 422
    assert "That is a film, not a photo. Take a photo and send it." in page
    assert "The seam is clean.</textarea>" in page
    assert 'value="us" checked' in page
    assert "<title>Error:" in page
    assert not Entry.objects.exists()


def test_photo_only_without_a_file_asks_for_one(ada: Client) -> None:
    response = send(ada, builders.stage(builders.job()), says="photo")
    assert response.status_code == 422
    assert "There was no photo with it. Choose one." in response.content.decode()


def test_the_button_that_sends_a_photo_asks_for_one_too(ada: Client) -> None:
    """Without script it can be pressed before one is chosen. What came and is none does not undo that it is done."""
    stage = builders.stage(builders.job())
    assert '<button class="btn glove by-hand" name="says" value="shown">' in ada.get(page_of(stage)).content.decode()
    response = send(ada, stage, says="shown", sentence="The seam is clean.")
    assert response.status_code == 422
    assert "There was no photo with it. Choose one." in response.content.decode()
    assert "The seam is clean.</textarea>" in response.content.decode()
    assert not Entry.objects.exists()
    assert send(ada, stage, film(), says="shown").status_code == 303
    assert Entry.objects.get().says == Says.DONE


@pytest.mark.parametrize("wrong", [{"entry": "1"}, {"says": "perhaps"}, {"entry": ""}, {"sentence": "a\0b"}])
def test_what_did_not_arrive_whole_comes_back_as_a_form(ada: Client, wrong: dict[str, str]) -> None:
    stage = builders.stage(builders.job())
    data = {"entry": str(uuid4()), "says": "done", "sentence": "Clean."} | wrong
    response = ada.post(page_of(stage), data)
    assert response.status_code == 422
    assert "That did not arrive whole, so nothing was kept. Send it again." in response.content.decode()
    assert not Entry.objects.exists()


def test_too_long_a_sentence_comes_back_whole(ada: Client) -> None:
    long = "So long. " * 40
    response = send(ada, builders.stage(builders.job()), photo(), sentence=long)
    assert response.status_code == 422
    assert "Say it in at most 300 letters, then send it again." in response.content.decode()
    assert long.strip() in response.content.decode()


def test_a_form_that_was_used_for_another_stage_is_refused(ada: Client) -> None:
    job, entry = builders.job(), uuid4()
    send(ada, builders.stage(job), entry=entry)
    response = send(ada, builders.stage(job, "mould"), entry=entry)
    assert response.status_code == 422
    assert "This form was used for something else. Open the piece again." in response.content.decode()


def test_more_than_twenty_files_are_refused_with_a_sentence(ada: Client) -> None:
    response = send(ada, builders.stage(builders.job()), *(photo() for _ in range(21)))
    assert response.status_code == 413
    assert "send fewer photos at a time" in response.content.decode()
    assert not Entry.objects.exists()


def test_a_file_over_the_limit_is_refused_with_a_sentence(ada: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("studio.workshop.photos.MOST_BYTES", 100)
    response = send(ada, builders.stage(builders.job()), photo(), says="photo")
    assert response.status_code == 422
    assert "That photo is too large to open here." in response.content.decode()


def test_a_full_disk_keeps_nothing_half_written(ada: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(arrived: Path) -> str:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(storage, "keep_original", full)
    stage = builders.stage(builders.job())
    response = send(ada, stage, photo(), sentence="Clean.")
    assert response.status_code == 507
    assert "There is no room left for photos, so nothing was kept." in response.content.decode()
    assert "Clean.</textarea>" in response.content.decode()
    assert builders.stage(stage.piece.job).done_at is None
    assert not builders.media()


def test_two_who_log_the_same_stage_both_keep_their_photo(ada: Client) -> None:
    stage = builders.stage(builders.job())
    builders.log_done(stage, by=builders.person("Bo"), now=NOW - timedelta(minutes=2))
    response = ada.get(send(ada, stage, photo("navy")).headers["Location"])
    assert "Bo logged this at 10:40. Both photos are kept." in response.content.decode()
    assert Photo.objects.count() == 2


def test_who_comes_second_without_a_photo_sees_the_first(ada: Client) -> None:
    stage = builders.stage(builders.job())
    first = builders.log_done(stage, by=builders.person("Bo"), now=NOW - timedelta(minutes=2))
    response = send(ada, stage)
    assert response.headers["Location"] == entry_page(first)
    page = ada.get(entry_page(first)).content.decode()
    assert "Bo logged this at 10:40. Nothing more is needed." in page
    assert "Kept. Talking watering can, carving done, 10:40, by Bo." in page
    assert "Take it back" not in page


def test_who_comes_a_day_later_is_told_the_day(ada: Client) -> None:
    stage = builders.stage(builders.job())
    first = builders.log_done(stage, by=builders.person("Bo"), now=NOW - timedelta(hours=19))
    page = ada.get(send(ada, stage).headers["Location"]).content.decode()
    assert "Bo logged this yesterday 15:42. Nothing more is needed." in page
    assert "Kept. Talking watering can, carving done, yesterday 15:42, by Bo." in page
    assert "today" not in ada.get(entry_page(first)).content.decode()


def test_a_photo_joins_what_was_logged_without_one(ada: Client) -> None:
    stage = builders.stage(builders.job())
    builders.log_done(stage, by=builders.person("Bo"), photo=False, now=NOW - timedelta(minutes=2))
    response = ada.get(send(ada, stage, photo()).headers["Location"])
    assert "Bo logged this at 10:40. Your photo is kept with it." in response.content.decode()


@pytest.mark.parametrize("role", list(Role))
def test_whoever_works_here_may_log_and_take_back(client: Client, published: list[str], db: None, role: Role) -> None:
    client.force_login(builders.person("Kit", role))
    stage = builders.stage(builders.job(maker=builders.person("Bo")))  # given to somebody else
    assert client.get(page_of(stage)).status_code == 200
    assert send(client, stage, photo()).status_code == 303
    response = client.post(reverse("bench-take-back", args=[Entry.objects.get().pk]))
    assert response.status_code == 303
    assert builders.stage(stage.piece.job).done_at is None


def test_sent_while_signed_out_nothing_is_lost_in_silence(client: Client, db: None) -> None:
    stage = builders.stage(builders.job())
    response = send(client, stage, photo())
    assert response.headers["Location"] == f"{reverse('sign-in')}?next=%2Fbench%2F{stage.pk}%2F"
    page = client.get(response.headers["Location"]).content.decode()
    assert "You were signed out, so nothing was kept. Sign in, then send it again." in page
    assert not Entry.objects.exists()


def test_taken_back_while_signed_out_leads_back_to_the_entry(client: Client, published: list[str], db: None) -> None:
    entry = builders.log_done(builders.stage(builders.job()))
    response = client.post(reverse("bench-take-back", args=[entry.pk]))
    assert response.headers["Location"] == f"{reverse('sign-in')}?next=%2Fbench%2Fkept%2F{entry.pk}%2F"
    assert Entry.objects.get().taken_back_at is None


@pytest.mark.parametrize("name", ["bench", "bench-all"])
def test_nobody_gets_in_unsigned(client: Client, db: None, name: str) -> None:
    assert client.get(reverse(name)).headers["Location"].startswith(reverse("sign-in"))


def test_a_form_of_another_site_is_refused(db: None, published: list[str]) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(builders.person("Ada"))
    assert send(strict, builders.stage(builders.job()), photo()).status_code == 403
    assert not Entry.objects.exists()


def test_an_unknown_stage_or_entry_is_not_there(ada: Client) -> None:
    assert ada.get("/bench/4711/").status_code == 404
    assert ada.post("/bench/4711/", {"says": "done"}).status_code == 404
    assert ada.get(f"/bench/kept/{uuid4()}/").status_code == 404
    assert ada.post(f"/bench/kept/{uuid4()}/take-back/").status_code == 404


def test_taking_back_is_a_post(ada: Client) -> None:
    entry = builders.log_done(builders.stage(builders.job()))
    assert ada.get(reverse("bench-take-back", args=[entry.pk])).status_code == 405


def test_taken_back_says_what_is_so_now(ada: Client) -> None:
    stage = builders.stage(builders.job())
    send(ada, stage, photo())
    response = ada.post(reverse("bench-take-back", args=[Entry.objects.get().pk]), follow=True)
    page = response.content.decode()
    assert "Taken back. Talking watering can, carving is not done." in page
    assert f'href="{page_of(stage)}"' in page
    assert "being developed" not in page


def test_too_late_to_take_back_is_a_sentence(ada: Client) -> None:
    entry = builders.log_done(builders.stage(builders.job()), now=NOW - timedelta(hours=25))
    response = ada.post(reverse("bench-take-back", args=[entry.pk]), follow=True)
    assert "It is too late to take this back. Tell the lead, who can still change it." in response.content.decode()
    assert Entry.objects.get().taken_back_at is None


def test_each_time_the_form_is_shown_it_has_an_id_of_its_own(ada: Client) -> None:
    stage = builders.stage(builders.job(release=Release.LOOKED))
    pages = [ada.get(page_of(stage)) for _ in range(2)]
    assert pages[0].context["entry_id"] != pages[1].context["entry_id"]
    assert "no-store" in pages[0].headers["Cache-Control"]  # a browser that goes back asks again


def test_a_closed_job_takes_a_photo_but_no_done(ada: Client) -> None:
    job = builders.job()
    actions.change_job(
        job, name=job.name, release=Release(job.release), wanted_day=None, wanted_means=Wanted.THERE, fixed=False,
        van_day=None, closed_on=NOW.date(), version=job.version, by=builders.lead(), now=NOW,
    )  # fmt: skip
    page = ada.get(page_of(builders.stage(job))).content.decode()
    assert "This job is closed. A photo can still be added." in page
    assert 'value="done"' not in page


@pytest.mark.parametrize(
    "error",
    [OSError(errno.ENOSPC, "No space left on device"), OperationalError("database or disk is full")],
)
def test_a_disk_that_fills_up_while_the_form_is_read_is_a_sentence_too(
    ada: Client, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def full(*args: object) -> None:
        raise error

    monkeypatch.setattr(TemporaryFileUploadHandler, "receive_data_chunk", full)
    ada.raise_request_exception = False
    stage = builders.stage(builders.job())
    response = send(ada, stage, photo())
    assert response.status_code == 507
    assert "There is no room left, so nothing of this was kept." in response.content.decode()
    assert not Entry.objects.exists()
