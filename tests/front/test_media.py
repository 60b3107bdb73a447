import pytest
from django.test import Client

from studio.workshop.models import Photo, Rendition
from studio.workshop.storage import keep_rendition, rendition_path
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def rendition() -> Rendition:
    builders.log_done(builders.stage(builders.job()))
    content = builders.jpeg("peru")
    return Rendition.objects.create(
        photo=Photo.objects.get(),
        edge=960,
        sha256=keep_rendition(content),
        width=64,
        height=48,
        size_bytes=len(content),
    )


def test_somebody_of_the_studio_sees_the_photo(site: Client, rendition: Rendition) -> None:
    site.force_login(builders.person("Ada"))
    response = site.get(f"/media/{rendition.sha256}.jpg")
    assert b"".join(response) == builders.jpeg("peru")
    assert response.headers["Content-Type"] == "image/jpeg"
    assert response.headers["Cache-Control"] == "private, max-age=604800, immutable"
    assert response.headers["X-Content-Type-Options"] == "nosniff"


def test_nobody_else_does(site: Client, rendition: Rendition) -> None:
    assert site.get(f"/media/{rendition.sha256}.jpg").status_code == 302


def test_a_file_that_no_row_names_is_not_shown(site: Client) -> None:
    site.force_login(builders.person("Ada"))
    assert site.get(f"/media/{keep_rendition(b'not named')}.jpg").status_code == 404


def test_a_row_whose_file_is_lost_is_a_404(site: Client, rendition: Rendition) -> None:
    site.force_login(builders.person("Ada"))
    rendition_path(rendition.sha256).unlink()
    assert site.get(f"/media/{rendition.sha256}.jpg").status_code == 404


def test_a_photo_is_only_read(site: Client, rendition: Rendition) -> None:
    site.force_login(builders.person("Ada"))
    assert site.post(f"/media/{rendition.sha256}.jpg").status_code == 405
