"""The client's page in a real browser: on a phone, large type, a photo that does not come, and on paper."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page, Request
from pytest_django.live_server_helper import LiveServer

from studio.workshop.links import path_for
from studio.workshop.models import Link, Rendition
from tests import builders
from tests.conftest import NOW

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases=["default", "portal"])]
Open = Callable[..., Page]
PHONE, NARROW, DESK = {"width": 390, "height": 844}, {"width": 320, "height": 640}, {"width": 1280, "height": 900}
LONG = "Leaning lamp post, bench, letter-box and a swinging lantern"
LOADED = "() => [...document.images].every(image => image.complete)"
EAGER = "() => { for (const image of document.images) image.loading = 'eager' }"
HEIGHTS = "() => [...document.images].map(image => Math.round(image.getBoundingClientRect().height))"


@pytest.fixture
def link(published: list[str]) -> Link:
    """Three photos, one of them upright, under about the longest name that a piece may have."""
    job = builders.job(LONG, stages=("carving", "mould", "lay-up", "pack"))
    found = builders.link(job, "Alexandra Featherstonehaugh-Wetherby", "alexandra@client.example")
    builders.confirm(found.job, words="It is on time.", by=builders.lead(), now=NOW)
    for hours, (kind, size) in enumerate(
        (("carving", (2400, 1600)), ("mould", (1600, 2400)), ("lay-up", (2400, 1800)))
    ):
        at = NOW + timedelta(hours=hours)
        builders.log_done(builders.stage(found.job, kind), content=builders.jpeg("peru", size), now=at)
        builders.work(at)
    return found


@pytest.fixture
def look(chromium: Browser, live_server: LiveServer, link: Link) -> Iterator[Open]:
    """Opens the page in a browser of its own. What the browser complains of fails the test."""
    complaints: list[str] = []
    opened = []

    def come(*, photos: bool = True, **context: object) -> Page:
        page = chromium.new_context(**context).new_page()  # type: ignore[arg-type]
        opened.append(page)
        if photos:
            page.on("console", lambda message: complaints.append(message.text))
        else:
            page.route("**/*.jpg", lambda route: route.abort())
        page.goto(live_server.url + path_for(link))
        # All photos now, so that none is still on its way when the test's rows go.
        page.evaluate(EAGER)
        page.wait_for_function(LOADED)
        return page

    yield come
    for page in opened:
        page.context.close()
    assert complaints == []


@pytest.mark.parametrize("viewport", [NARROW, PHONE, DESK], ids=lambda viewport: str(viewport["width"]))
@pytest.mark.parametrize("letters", ["100%", "200%"])
def test_nothing_runs_off_the_side(look: Open, viewport: dict[str, int], letters: str) -> None:
    """WCAG 2.2, 1.4.4 (text at 200 %) and 1.4.10 (320 px)."""
    page = look(viewport=viewport)
    page.evaluate("letters => { document.documentElement.style.fontSize = letters }", letters)
    assert page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth") <= 0


def test_every_link_is_large_enough_for_a_thumb(look: Open) -> None:
    page = look(viewport=PHONE)
    boxes = [link.bounding_box() for link in page.get_by_role("link").all()]
    assert len(boxes) == 3
    assert all(box and box["height"] >= 44 for box in boxes)


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_a_photo_that_does_not_come_keeps_its_place(look: Open, viewport: dict[str, int]) -> None:
    whole, broken = look(viewport=viewport), look(viewport=viewport, photos=False)
    assert whole.evaluate("() => [...document.images].every(image => image.naturalWidth > 0)")
    assert not broken.evaluate("() => [...document.images].some(image => image.naturalWidth > 0)")
    assert len(whole.evaluate(HEIGHTS)) == 3
    assert broken.evaluate(HEIGHTS) == whole.evaluate(HEIGHTS)
    assert broken.locator("figcaption").first.is_visible()


def test_a_phone_gets_the_small_photo_first_and_no_script(look: Open, link: Link) -> None:
    """Two device pixels to one of the page, as most phones have."""
    page = look(viewport=PHONE, device_scale_factor=2, has_touch=True)
    first = Rendition.objects.get(photo__stage__kind__name="lay-up", edge=480)
    assert str(page.evaluate("() => document.images[0].currentSrc")).endswith(f"/{first.sha256}.jpg")
    asked: list[Request] = []
    page.on("request", lambda request: asked.append(request))
    page.reload(wait_until="networkidle")
    assert {request.resource_type for request in asked} <= {"document", "image", "other"}
    photos = [request.url for request in asked if request.resource_type == "image" and request.url.endswith(".jpg")]
    assert photos[0].endswith(f"/{first.sha256}.jpg")  # asked for from the head, before the others share the line
    assert len(photos) == len(set(photos)) == 3
    assert page.context.cookies() == []
    assert page.evaluate("() => document.scripts.length") == 0


def test_a_photo_that_stands_upright_is_no_larger(look: Open, link: Link) -> None:
    at = NOW + timedelta(hours=9)
    upright = builders.log_done(builders.stage(link.job, "pack"), content=builders.jpeg("navy", (1350, 2400)), now=at)
    builders.work(at)
    page = look(viewport=PHONE, device_scale_factor=2, has_touch=True)
    smallest = Rendition.objects.get(photo__entry=upright, edge=480)
    assert str(page.evaluate("() => document.images[0].currentSrc")).endswith(f"/{smallest.sha256}.jpg")


def test_on_paper_all_of_it_is_there(look: Open) -> None:
    page = look(viewport=DESK)
    page.emulate_media(media="print")
    for words in ("It is on time.", "Built up so far", "Carving", "Mould", "Lay-up", "Questions? Ask Ines"):
        assert page.get_by_text(words).first.is_visible()
    assert page.locator("img").count() == 3
    assert all(image.is_visible() for image in page.locator("img").all())
    assert not page.get_by_text("Its newest photo").is_visible()
    assert not page.get_by_text("No more letters").is_visible()  # a record has no acts
    assert page.get_by_text("As it stood on").is_visible()
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
