"""After logging: where the photo is, when word leaves, and what is next."""

from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from studio.workshop import actions
from studio.workshop.models import Entry, Photo, Release, Says, Studio
from tests import builders
from tests.bench.conftest import run_due
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
