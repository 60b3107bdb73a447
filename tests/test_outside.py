"""What has not been released is nowhere outside: not on the page, not in a letter, not at any address."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from studio.workshop import actions, letters
from studio.workshop.links import path_for
from studio.workshop.models import Entry, Job, Letter, Link, Photo, Release, Rendition
from tests import builders, doors
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])
LONG_AFTER = timedelta(hours=2)


@pytest.fixture(autouse=True)
def still_clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def done_with_photo(release: Release, *, for_client: bool = True, job: str = "Talking watering can") -> Entry:
    entry = builders.log_done(
        builders.stage(builders.job(job, release=release)),
        content=builders.jpeg("peru", (2200, 1500)),
        for_client=for_client,
        sentence="What the maker wrote.",
    )
    builders.work()
    assert Rendition.objects.filter(photo__entry=entry).count() == 3
    return entry


def not_looked_at() -> Entry:
    return done_with_photo(Release.LOOKED)


def for_us_only() -> Entry:
    return done_with_photo(Release.STRAIGHT, for_client=False)


def kept_back_after_release() -> Entry:
    entry = done_with_photo(Release.STRAIGHT)
    actions.keep_for_us(list(Photo.objects.filter(entry=entry)), by=builders.lead(), now=NOW)
    return entry


def taken_back() -> Entry:
    entry = done_with_photo(Release.STRAIGHT)
    return actions.take_back(entry, by=builders.person("Ada"), now=NOW)


HIDDEN = pytest.mark.parametrize("hide", [not_looked_at, for_us_only, kept_back_after_release, taken_back])


def follower(entry: Entry) -> Link:
    return builders.link(entry.stage.piece.job)


def hashes(entry: Entry) -> set[str]:
    photo = Photo.objects.get(entry=entry)
    return {*photo.renditions.values_list("sha256", flat=True), photo.original_sha256}


def statuses(link: Link, names: set[str]) -> set[int]:
    """Asked at every address of the portal that takes a hash."""
    routes = [route for route in doors.routes("with/") if "sha256" in route.arguments]
    assert routes
    token = path_for(link).split("/")[2]
    answers = [Client().get(route.address({"token": token, "sha256": name})) for route in routes for name in names]
    for answer in answers:
        answer.close()
    return {answer.status_code for answer in answers}


def test_a_released_photo_is_there_in_all_sizes() -> None:
    """Else the tests below could not fail."""
    entry = done_with_photo(Release.STRAIGHT)
    link = follower(entry)
    shown = hashes(entry) - {Photo.objects.get().original_sha256}
    assert len(shown) == 3
    assert statuses(link, shown) == {200}
    page = Client().get(path_for(link)).content.decode()
    assert all(name in page for name in shown)


@HIDDEN
def test_what_is_not_released_is_at_no_address(hide: Callable[[], Entry]) -> None:
    entry = hide()
    link = follower(entry)
    page = Client().get(path_for(link)).content.decode()
    names = hashes(entry)
    assert len(names) == 4
    assert not any(name in page for name in names)
    assert statuses(link, names) == {404}


@pytest.mark.parametrize("hide", [not_looked_at, for_us_only, taken_back])
def test_nor_are_the_words_that_came_with_it(hide: Callable[[], Entry]) -> None:
    assert b"What the maker wrote." not in Client().get(path_for(follower(hide()))).content


def test_sending_word_does_not_tell_what_was_for_us() -> None:
    entry = for_us_only()
    actions.send_word(entry, by=builders.lead(), now=NOW)
    assert b"What the maker wrote." not in Client().get(path_for(follower(entry))).content


def test_it_is_in_no_letter() -> None:
    """The lead sends word without the photo: of a stage whose photo waits, is for us, or was kept back."""
    for release, for_client, keep_back in (
        (Release.LOOKED, True, False),
        (Release.STRAIGHT, False, False),
        (Release.STRAIGHT, True, True),
    ):
        link = builders.link(builders.job(f"Job {release} {for_client}", release=release))
        entry = builders.log_done(builders.stage(link.job), for_client=for_client)
        builders.work()
        if keep_back:
            actions.keep_for_us(list(Photo.objects.filter(entry=entry)), by=builders.lead(), now=NOW)
        actions.send_word(entry, by=builders.lead(), now=NOW)
        builders.work(NOW + LONG_AFTER)
        letter = Letter.objects.get(job=link.job)
        assert letter.photo is None
        assert letters.read_outbox(letter.pk).picture is None


def test_what_was_taken_back_has_no_letter() -> None:
    link = builders.link(builders.job())
    entry = builders.log_done(builders.stage(link.job))
    builders.work()
    actions.take_back(entry, by=builders.person("Ada"), now=NOW)
    builders.work(NOW + LONG_AFTER)
    assert not Letter.objects.exists()


def test_another_jobs_photo_is_not_here() -> None:
    mine = done_with_photo(Release.STRAIGHT)
    other = builders.job("Ammonite", client="Harbour Museum")
    link = builders.link(other, "Lena")
    assert statuses(link, hashes(mine)) == {404}


def test_the_same_client_with_two_jobs_has_two_doors() -> None:
    mine = done_with_photo(Release.STRAIGHT)
    second = Job.objects.create(client=mine.stage.piece.job.client, name="Second job")
    link = actions.give_link(follower(mine).contact, second, by=builders.lead(), now=NOW)
    assert statuses(link, hashes(mine)) == {404}


def test_an_original_is_served_to_nobody() -> None:
    entry = done_with_photo(Release.STRAIGHT)
    original = Photo.objects.get().original_sha256
    everything = doors.of(entry.stage.piece.job, follower(entry)) | {"sha256": original}
    client = Client()
    client.force_login(builders.lead())
    routes = [route for route in doors.routes() if "sha256" in route.arguments]
    assert {route.name for route in routes} >= {"photo", "client-photo"}
    assert {client.get(route.address(everything)).status_code for route in routes} == {404}
