"""After something was said at the bench: its words are changed, and a stage is not done after all."""

from datetime import timedelta

import time_machine
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.models import Entry, Letter, Notice, NoticeState, Release, Stage
from tests import builders
from tests.conftest import NOW
from tests.office.rows import look, run_due, text, title, version


def test_the_words_are_changed_and_the_history_says_so(office: Browser) -> None:
    entry = look()
    page, job = f"/office/entries/{entry.pk}/", f"/office/jobs/{entry.stage.piece.job_id}/"
    assert f'href="{page}"' in office.get(job).content.decode()
    assert f'href="{page}"' in office.get(f"{job}photos/").content.decode()
    assert "The client reads them once you show a photo of it or send word." in text(office.get(page))
    sent = {"sentence": "Rasped by eye.", "version": version(office.get(page))}
    answer = office.post(page, sent, follow=True)
    assert "The words about carving of Talking watering can are kept as you wrote them." in text(answer)
    assert "Ines changed the words about carving of Talking watering can." in text(answer)
    assert "It waits for your look. Rasped by eye." in text(answer)
    assert Entry.objects.get().sentence == "Rasped by eye."


def test_words_overtaken_by_somebody_else_are_both_shown(office: Browser) -> None:
    entry = look()
    page = f"/office/entries/{entry.pk}/"
    old = version(office.get(page))
    tom = Browser()
    tom.force_login(builders.lead("Tom"))
    assert tom.post(page, {"sentence": "Tom's words.", "version": old}).status_code == 302
    mine = office.post(page, {"sentence": "My words.", "version": old})
    assert mine.status_code == 409
    assert title(mine).startswith("Error:")
    assert "as Tom left it Tom's words." in text(mine)
    assert "My words.</textarea>" in mine.content.decode()
    assert office.post(page, {"sentence": "My words.", "version": version(mine)}).status_code == 302
    assert Entry.objects.get().sentence == "My words."


def test_words_that_are_too_long_are_not_lost(office: Browser) -> None:
    entry = look()
    answer = office.post(f"/office/entries/{entry.pk}/", {"sentence": "x" * 301, "version": 1})
    assert answer.status_code == 422
    assert "x" * 301 in answer.content.decode()
    assert Entry.objects.get().version == 1


def test_the_page_says_who_reads_the_words(office: Browser) -> None:
    job = builders.job()
    ours = builders.log_done(builders.stage(job), photo=False, for_client=False)
    theirs = builders.log_done(builders.stage(job, "mould"), photo=False)
    assert "the client reads the studio's own sentence" in text(office.get(f"/office/entries/{ours.pk}/"))
    assert "The client reads them on their page." in text(office.get(f"/office/entries/{theirs.pk}/"))
    actions.take_back(theirs, by=builders.lead(), now=NOW)
    assert "so no client reads them" in text(office.get(f"/office/entries/{theirs.pk}/"))


def test_the_words_of_what_is_done_without_a_photo_are_changed_before_word_is_sent(office: Browser) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    theirs = builders.log_done(builders.stage(job), photo=False)
    ours = builders.log_done(builders.stage(job, "mould"), photo=False, for_client=False)
    html = office.get("/office/photos/").content.decode()
    assert f'href="/office/entries/{theirs.pk}/"' in html
    assert f'href="/office/entries/{ours.pk}/"' not in html
    office.post(f"/office/entries/{theirs.pk}/", {"sentence": "Rasped by eye.", "version": 1})
    assert "by Ada. Rasped by eye." in text(office.get("/office/photos/"))


def done(photo: bool = False) -> Entry:
    job = builders.job()
    builders.link(job)
    return builders.log_done(builders.stage(job), photo=photo)


def test_a_stage_is_not_done_after_all_although_the_next_is_and_days_have_gone_by(office: Browser) -> None:
    entry = done(photo=True)
    run_due(NOW + timedelta(minutes=10))
    builders.log_done(builders.stage(entry.stage.piece.job, "mould"), photo=False)
    page = f"/office/stages/{entry.stage_id}/"
    with time_machine.travel(NOW + timedelta(days=3), tick=False):
        said = text(office.get(page))
        assert (
            "Its letter has gone to Priya on Tue 10 Mar 10:52; nothing is sent by itself. This is not done after all"
            in said
        )
        answer = office.post(f"/office/entries/{entry.pk}/take-back/", follow=True)
    assert "Carving of Talking watering can is not done any more." in text(answer)
    assert "This is not done after all" not in text(answer)
    assert Stage.objects.get(pk=entry.stage_id).done_at is None
    assert Letter.objects.count() == 1
    assert Notice.objects.get(entry=entry).state == NoticeState.TOLD


def test_what_has_not_left_stays_with_it(office: Browser) -> None:
    entry = done()
    page = f"/office/stages/{entry.stage_id}/"
    assert "The letter to Priya has not left; it will not, if this is taken back. This is not done after all" in text(
        office.get(page)
    )
    for _ in range(2):
        assert office.post(f"/office/entries/{entry.pk}/take-back/").headers["Location"] == page
    assert Notice.objects.get().state == NoticeState.WITHDRAWN
    assert "This is not done after all" not in text(office.get(page))


def test_nobody_who_follows_is_nobody_written_to(office: Browser) -> None:
    entry = builders.log_done(builders.stage(builders.job()), photo=False)
    page = f"/office/stages/{entry.stage_id}/"
    assert "No letter has gone. This is not done after all" in text(office.get(page))


def test_an_old_page_takes_back_what_it_showed_and_nothing_newer(office: Browser) -> None:
    entry = done()
    actions.take_back(entry, by=builders.person("Ada"), now=NOW)
    later = builders.log_done(entry.stage, photo=False)
    office.post(f"/office/entries/{entry.pk}/take-back/")
    assert Entry.objects.get(pk=later.pk).taken_back_at is None
    assert Stage.objects.get(pk=entry.stage_id).done_at
