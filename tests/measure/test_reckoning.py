"""The measurements' own arithmetic: they see what is lost, what is there twice, and a photo that is another one."""

import shutil
from datetime import datetime
from io import BytesIO
from pathlib import Path

import pytest
from django.utils import timezone
from PIL import Image

from fixtures.photos.phone import textured
from studio.workshop import actions, duties, imaging, outbox
from studio.workshop.models import Errand, ErrandState, Kind, Letter, Photo, Rendition, Stage
from studio.workshop.storage import rendition_path
from tests import builders
from tests.measure import main_job, yard
from tests.measure.phone import Page
from tests.measure.photos import shows
from tests.measure.up import missed, p95


@pytest.fixture
def orders(published: list[str], tmp_path: Path) -> list[yard.Order]:
    """Three orders that went well."""
    actions.set_out_studio()
    found = yard.set_out([tmp_path / f"{name}.jpg" for name in "abc"])
    now = timezone.now()
    for place, order in enumerate(found):
        stage = Stage.objects.told().get(pk=order.stage_id)
        builders.log_done(stage, now=now, content=builders.jpeg(["tan", "teal", "navy"][place]))
    while waiting := Errand.objects.filter(state=ErrandState.WAITING).first():
        duties.run(waiting.pk, timezone.now)
    return found


@pytest.mark.django_db
def test_nothing_lost_and_nothing_twice(orders: list[yard.Order]) -> None:
    assert yard.reckon(orders, orders) == yard.Reckoning(stages=3, photos=3, letters=3, lost=0, twice=0)
    assert yard.letters_there(orders) == 3
    assert (yard.not_done(), yard.unknown(), yard.due_errands(), yard.at_work()) == (0, 0, [], {})


@pytest.mark.django_db
def test_a_photo_that_no_client_saw_is_lost(orders: list[yard.Order]) -> None:
    assert yard.reckon(orders, orders[1:]) == yard.Reckoning(stages=3, photos=2, letters=3, lost=1, twice=0)


@pytest.mark.django_db
def test_a_copy_whose_file_is_gone_or_spoilt_is_a_lost_photo(orders: list[yard.Order]) -> None:
    first, second = Photo.objects.order_by("stage_id")[:2]
    rendition_path(Rendition.objects.get(photo=first, edge=480).sha256).unlink()
    rendition_path(Rendition.objects.get(photo=second, edge=960).sha256).write_bytes(b"spoilt")
    assert yard.reckon(orders, orders).lost == 2


@pytest.mark.django_db
def test_a_letter_without_its_file_or_its_row_is_lost(orders: list[yard.Order]) -> None:
    first, second = Letter.objects.order_by("contact_id")[:2]
    outbox.path(first.pk).unlink()
    second.delete()
    assert yard.letters_there(orders) == 1
    found = yard.reckon(orders, orders)
    assert (found.letters, found.lost) == (1, 2)


@pytest.mark.django_db
def test_a_letter_that_left_twice_under_two_names_is_twice(orders: list[yard.Order]) -> None:
    place = outbox.path(Letter.objects.order_by("pk")[0].pk)
    shutil.copy(place, place.with_name("another-name.eml"))
    assert yard.reckon(orders, orders).twice == 1


@pytest.mark.django_db
def test_a_photo_that_was_logged_twice_is_twice(orders: list[yard.Order]) -> None:
    photo = Photo.objects.order_by("pk")[0]
    photo.pk, photo.original_sha256 = None, "0" * 64
    photo.save()
    assert yard.reckon(orders, orders).twice == 1


@pytest.mark.django_db
def test_an_errand_that_failed_is_stuck(now: datetime, published: list[str]) -> None:
    errand = builders.log_done(builders.stage(builders.job())).photos.get()
    assert len(yard.due_errands()) == 2  # the photo, and a plan that knows of it
    Errand.objects.filter(kind=Kind.REFRESH_PLAN).update(state=ErrandState.DONE)
    Errand.objects.filter(subject=str(errand.pk)).update(state=ErrandState.FAILED)
    assert yard.not_done() == 1


@pytest.mark.once
@pytest.mark.parametrize("orientation", [1, 6])
def test_a_photo_is_told_from_another_and_from_one_that_lies_on_its_side(orientation: int, tmp_path: Path) -> None:
    mine, other = (textured(1600, 1200, seed, orientation=orientation, p3=seed == 1) for seed in (1, 2))
    paths = [tmp_path / "mine.jpg", tmp_path / "other.jpg"]
    for path, content in zip(paths, (mine, other), strict=True):
        path.write_bytes(content)
    (copy,) = (item.jpeg for item in imaging.develop(paths[0]) if item.edge == 960)
    assert shows(paths[0], copy)
    assert not shows(paths[1], copy)
    turned = BytesIO()
    with Image.open(BytesIO(copy)) as picture:
        picture.rotate(90, expand=True).save(turned, "JPEG")
    assert not shows(paths[0], turned.getvalue())


@pytest.mark.once
def test_the_95th_percentile_is_the_nearest_rank() -> None:
    # Of 20 values the 19th, of 40 the 38th: the definition of the nearest rank.
    assert p95([*range(20, 0, -1)]) == 19
    assert p95([float(value) for value in range(1, 41)]) == 38
    assert (p95([7.0]), p95([])) == (7.0, 0.0)


@pytest.mark.once
def test_the_worse_of_two_is_the_worse_of_each_figure() -> None:
    one = {"stages": 40.0, "lost": 1.0, "ack_ms_p95": 90.0}
    two = {"stages": 39.0, "lost": 0.0, "ack_ms_p95": 310.0}
    assert main_job.worse([one, two]) == {"stages": 39.0, "lost": 1.0, "ack_ms_p95": 310.0}
    assert len(missed(main_job.worse([one, two]), {"lost": 0, "ack_ms_p95": 300}, {"stages": 40})) == 3
    assert missed(one, {"ack_ms_p95": 300}, {"stages": 40}) == []


@pytest.mark.once
def test_a_form_is_read_from_its_page_as_a_browser_would_send_it() -> None:
    page = Page(
        '<form method="post" action="/a/"><input type="hidden" name="entry" value="1"><textarea name="note">A &amp; b'
        '</textarea><input type="radio" name="eyes" value="us"><input type="radio" name="eyes" value="client" checked>'
        '<input type="file" name="photos"><button name="says" value="done">Send</button></form>'
        '<img srcset="x.jpg 480w, y.jpg 960w" src="x.jpg">'
    )
    form = page.camera()
    assert form.fields == [("entry", "1"), ("note", "A & b"), ("eyes", "client")]
    assert form.saying("says", "done")[-1] == ("says", "done")
    assert (form.action, form.files) == ("/a/", ["photos"])
    assert page.pictures == [[("x.jpg", 480), ("y.jpg", 960)]]
