"""After logging: where the photo is, when word leaves, and what is next."""

import re
from datetime import datetime, timedelta
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from studio.workshop import actions
from studio.workshop.models import (
    Entry,
    Errand,
    ErrandState,
    Link,
    Notice,
    NoticeState,
    Photo,
    Release,
    Says,
    Studio,
)
from tests import builders
from tests.bench.conftest import photo, run_due, send
from tests.conftest import NOW

HTMX = {"HX-Request": "true"}


def page_of(entry: Entry) -> str:
    return reverse("bench-kept", args=[entry.pk])


def text(who: Client, entry: Entry) -> str:
    return who.get(page_of(entry)).content.decode()


def test_while_a_photo_waits_the_page_looks_again_by_itself(ada: Client) -> None:
    entry = builders.log_done(builders.stage(builders.job()))
    page = text(ada, entry)
    assert "The photo is being developed." in page
    assert f'<a href="{page_of(entry)}" hx-get="{page_of(entry)}" hx-trigger="every 2s"' in page
    assert "htmx" in page
    nothing_new = ada.get(page_of(entry), headers=HTMX)
    assert (nothing_new.status_code, nothing_new.content) == (204, b"")
    run_due(NOW)
    part = ada.get(page_of(entry), headers=HTMX)
    assert "HX-Request" in part.headers["Vary"]
    assert part.content.decode().startswith('<div id="photo-state">')
    assert "The photo is developed. The client sees it." in part.content.decode()
    assert "hx-get" not in part.content.decode()
    assert "htmx-2" not in text(ada, entry)


def test_a_page_left_open_stops_asking(ada: Client, clock: time_machine.Traveller) -> None:
    entry = builders.log_done(builders.stage(builders.job()))
    clock.shift(timedelta(minutes=3))
    part = ada.get(page_of(entry), headers=HTMX).content.decode()
    assert "The photo is being developed." in part
    assert "Look again" in part
    assert "hx-get" not in part


def test_straight_says_when_word_leaves(ada: Client) -> None:
    job = builders.job()
    builders.link(job)
    builders.link(job, "Tom")
    entry = builders.log_done(builders.stage(job))
    sentence = "Word goes to Priya and Tom at 10:52 unless you take it back."
    assert sentence in text(ada, entry)
    run_due(NOW)
    assert sentence in text(ada, entry)
    run_due(NOW + timedelta(minutes=11))
    assert "Word has gone to Priya and Tom." in text(ada, entry)
    actions.take_back(entry, by=builders.person("Ada"), now=NOW + timedelta(minutes=12))
    assert "Word of it had gone to Priya and Tom. The lead sees that." in text(ada, entry)


def test_who_cannot_take_it_back_is_not_told_that_they_can(ada: Client) -> None:
    job = builders.job()
    builders.link(job)
    page = text(ada, builders.log_done(builders.stage(job), by=builders.person("Bo")))
    assert "Word goes to Priya at 10:52." in page
    assert "Take it back" not in page


def test_word_waits_for_a_slow_photo(ada: Client, clock: time_machine.Traveller) -> None:
    job = builders.job()
    builders.link(job)
    entry = builders.log_done(builders.stage(job))
    clock.shift(timedelta(minutes=11))
    assert "Word goes to Priya as soon as it is ready." in text(ada, entry)


def test_the_lead_looks_first(ada: Client) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    entry = builders.log_done(builders.stage(job))
    run_due(NOW)
    page = text(ada, entry)
    assert "The photo is developed.</p>" in page
    assert "The lead looks at it before the client does." in page
    photos = list(Photo.objects.select_related("entry__stage__piece__job", "stage__piece__job"))
    actions.release_photos(photos, by=builders.lead(), now=NOW)
    page = text(ada, entry)
    assert "The photo is developed. The client sees it." in page
    assert "Word goes to Priya at 10:52 unless you take it back." in page


def test_the_lead_looks_first_also_where_nobody_gets_word(ada: Client) -> None:
    entry = builders.log_done(builders.stage(builders.job(release=Release.LOOKED)))
    assert "The lead looks at it before the client does." in text(ada, entry)


def test_for_us_only_is_said(ada: Client) -> None:
    entry = builders.log_done(builders.stage(builders.job(release=Release.LOOKED)), for_client=False)
    run_due(NOW)
    page = text(ada, entry)
    assert "The photo is developed. It is for us only." in page
    assert "The lead looks at it" not in page


def test_a_photo_that_did_not_come_out_can_be_taken_again(ada: Client) -> None:
    job = builders.job()
    builders.link(job)
    entry = builders.log_done(builders.stage(job), content=builders.jpeg()[:200])
    run_due(NOW)
    page = text(ada, entry)
    assert "The photo did not come out. Only part of the photo arrived. Send it again." in page
    assert "Take the photo again" in page
    assert "The lead decides whether word goes to Priya without the photo." in page
    assert builders.stage(job).done_at == NOW


def add_photo(entry: Entry, at: datetime, content: bytes | None = None, *, for_client: bool = True) -> Entry:
    return actions.log_at_bench(
        entry_id=uuid4(), stage=entry.stage, says=Says.PHOTO, photos=builders.kept(content), for_client=for_client,
        by=builders.person("Ada"), now=at,
    )  # fmt: skip


def test_a_photo_that_was_taken_again_is_not_asked_for_a_third_time(ada: Client) -> None:
    entry = builders.log_done(builders.stage(builders.job()), content=builders.jpeg()[:200])
    later = NOW + timedelta(minutes=1)
    add_photo(entry, later, builders.jpeg("navy")[:200])
    run_due(later)
    assert "Take the photo again" in text(ada, entry)  # neither came out
    add_photo(entry, later, builders.jpeg("olive"), for_client=False)
    run_due(later)
    assert "Take the photo again" in text(ada, entry)  # the one that did is not for the client
    good = add_photo(entry, later)
    run_due(later)
    page = text(ada, entry)
    assert "The photo did not come out. A later one did, so it need not be taken again." in page
    assert "Take the photo again" not in page
    assert "Send it again" not in page
    actions.take_back(good, by=builders.person("Ada"), now=later)
    assert "Take the photo again" in text(ada, entry)


def test_a_retake_lets_word_go(ada: Client) -> None:
    job = builders.job()
    builders.link(job)
    entry = builders.log_done(builders.stage(job), content=builders.jpeg()[:200])
    add_photo(entry, NOW + timedelta(minutes=1))
    run_due(NOW + timedelta(minutes=1))
    assert "Word goes to Priya at 10:52 unless you take it back." in text(ada, entry)


def test_one_photo_more_can_always_be_added(ada: Client) -> None:
    stage = builders.stage(builders.job())
    entry = builders.log_done(stage, now=NOW - timedelta(days=3), for_client=False)
    response = ada.get(page_of(entry))
    page = response.content.decode()
    assert "Add another photo" in page
    assert f'action="{reverse("bench-stage", args=[stage.pk])}"' in page
    assert "The lead can still take it back." in page
    assert "Back to Talking watering can, carving" in page
    assert re.search(r'value="us" checked', page)
    answer = send(ada, stage, photo("navy"), entry=response.context["entry_id"], says="photo", eyes="us")
    added = Entry.objects.exclude(pk=entry.pk).get()
    assert (added.says, added.for_client, added.photos.count()) == (Says.PHOTO, False, 1)
    page = ada.get(answer.headers["Location"]).content.decode()
    assert "Add another photo" in page
    assert "Take it back" in page
    assert "The lead can still" not in page


def test_without_a_photo_the_lead_decides_when_word_goes(ada: Client) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    page = text(ada, builders.log_done(builders.stage(job), photo=False))
    assert "The lead decides when word goes." in page
    assert "The lead looks at it" not in page
    assert "Add a photo" in page
    page = text(ada, builders.log_done(builders.stage(job, "mould"), content=builders.jpeg("navy"), for_client=False))
    assert "The lead decides when word goes." in page
    page = text(ada, builders.log_done(builders.stage(job, "lay-up"), content=builders.jpeg("plum")))
    assert "The lead looks at it before the client does." in page
    assert "The lead decides" not in page


def test_a_photo_lost_where_the_lead_looks_first_is_the_lead_s_to_decide(ada: Client) -> None:
    job = builders.job(release=Release.LOOKED)
    builders.link(job)
    entry = builders.log_done(builders.stage(job), content=builders.jpeg()[:200])
    run_due(NOW)
    page = text(ada, entry)
    assert "The lead decides whether word goes to Priya without the photo." in page
    assert "The lead looks at it" not in page


@pytest.mark.parametrize("state", [ErrandState.FAILED, ErrandState.UNKNOWN])
@pytest.mark.parametrize("notice", [NoticeState.GOING, NoticeState.LEAVING])
def test_a_letter_that_failed_has_not_gone(ada: Client, state: ErrandState, notice: NoticeState) -> None:
    job = builders.job()
    builders.link(job)
    builders.link(job, "Tom")
    entry = builders.log_done(builders.stage(job), photo=False)
    run_due(NOW + timedelta(minutes=11))
    assert "Word has gone to Priya and Tom." in text(ada, entry)
    tom = Notice.objects.get(contact__name="Tom")
    Notice.objects.filter(pk=tom.pk).update(state=notice)
    Errand.objects.filter(key=f"send_letter:{tom.pk}").update(state=state)
    page = text(ada, entry)
    assert "Word has gone to Priya." in page
    assert "Word to Tom is held up. The lead sees that." in page
    assert "Word goes to" not in page
    Entry.objects.update(taken_back_at=NOW)
    page = text(ada, entry)
    assert "Word of it had gone to Priya. The lead sees that." in page
    assert ("Word of it may have gone to Tom. The lead sees that." in page) is (notice == NoticeState.LEAVING)


def test_a_letter_that_cannot_be_written_is_held_up(ada: Client) -> None:
    job = builders.job()
    link = builders.link(job)
    entry = builders.log_done(builders.stage(job), photo=False)
    Link.objects.filter(pk=link.pk).update(revoked_at=NOW)
    run_due(NOW + timedelta(minutes=11))
    assert "Word to Priya is held up. The lead sees that." in text(ada, entry)


def test_a_letter_on_its_way_is_not_told_as_gone(ada: Client) -> None:
    job = builders.job()
    builders.link(job)
    entry = builders.log_done(builders.stage(job), photo=False)
    Notice.objects.update(state=NoticeState.LEAVING)
    page = text(ada, entry)
    assert "Word is leaving for Priya." in page
    assert "Word has gone" not in page


def test_the_next_piece_follows(ada: Client) -> None:
    job = builders.job()
    page = text(ada, builders.log_done(builders.stage(job)))
    assert "Next: Talking watering can" in page
    assert f'href="{reverse("bench-stage", args=[builders.stage(job, "mould").pk])}"' in page


def test_after_the_last_piece_the_bench_is_empty(ada: Client) -> None:
    page = text(ada, builders.log_done(builders.stage(builders.job(stages=("carving",)))))
    assert "Nothing else on your bench." in page


def test_clocks_are_the_studio_s_own(ada: Client) -> None:
    stage = builders.stage(builders.job())
    Studio.objects.update(time_zone="Asia/Kathmandu")  # five hours and three quarters ahead
    assert "carving done, 16:27." in text(ada, builders.log_done(stage))


@pytest.mark.parametrize("count", [1, 4])
def test_several_photos_are_asked_for_at_once(ada: Client, count: int, django_assert_max_num_queries: object) -> None:
    colours = ("tan", "navy", "olive", "plum")[:count]
    kept = [photo for colour in colours for photo in builders.kept(builders.jpeg(colour))]
    stage = builders.stage(builders.job())
    entry = actions.log_at_bench(
        entry_id=uuid4(), stage=stage, says=Says.DONE, photos=kept, by=builders.person("Ada"), now=NOW
    )
    run_due(NOW)
    with django_assert_max_num_queries(14):  # type: ignore[operator]
        page = text(ada, entry)
    assert ("The photo is developed." if count == 1 else "4 photos are developed. The client sees them.") in page
