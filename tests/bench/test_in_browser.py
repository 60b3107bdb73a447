"""The bench in a real browser: choosing a photo is all there is to do, and without script there is a button."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from studio.running import web
from studio.workshop import sniff
from studio.workshop.models import Entry, Needs, Piece, Rendition, Says, Stage, Stuck
from tests import builders
from tests.bench.conftest import FILM, page_of, run_due

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Open = Callable[..., Page]
PHONE, SMALL = {"width": 390, "height": 844}, {"width": 360, "height": 640}


@pytest.fixture
def stage(db: None, published: list[str]) -> Stage:
    job = builders.job()
    Piece.objects.update(note="Jaw opens 40°. Keep the rod hole at the back clear of filler.")
    return builders.stage(job)


@pytest.fixture
def at_bench(chromium: Browser, live_server: LiveServer, stage: Stage) -> Open:
    """Opens a page as Ada, in a browser of its own."""
    signed_in = Client()
    signed_in.force_login(builders.person("Ada"))
    session = signed_in.cookies[settings.SESSION_COOKIE_NAME].value

    def enter(address: str, **context: object) -> Page:
        options = {"viewport": PHONE, "locale": "en-GB"} | context
        told: BrowserContext = chromium.new_context(**options)  # type: ignore[arg-type]
        told.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        page = told.new_page()
        page.goto(live_server.url + address)
        return page

    return enter


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "snail.jpg"
    path.write_bytes(builders.jpeg())
    return path


def test_a_chosen_photo_is_done_and_kept(at_bench: Open, stage: Stage, photo: Path) -> None:
    page = at_bench(reverse("bench"))
    page.get_by_label("Done. Take the photo").set_input_files(photo)
    page.wait_for_url("**/bench/kept/**")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Kept. Talking watering can, carving done")
    entry = Entry.objects.get()
    assert (entry.says, entry.photos.count()) == (Says.DONE, 1)
    run_due(timezone.now())
    expect(page.get_by_text("The photo is developed.")).to_be_visible()  # it looked again by itself
    expect(page.get_by_role("img")).to_be_visible()
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Taken back.")
    assert Stage.objects.get(pk=stage.pk).done_at is None


def test_photo_only_sends_several_at_once(at_bench: Open, stage: Stage, photo: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.jpg"
    other.write_bytes(builders.jpeg("navy"))
    page = at_bench(page_of(stage))
    page.get_by_label("Photo only").set_input_files([photo, other])
    page.wait_for_url("**/bench/kept/**")
    assert (Entry.objects.get().says, Entry.objects.get().photos.count()) == (Says.PHOTO, 2)


def test_without_script_a_photo_is_chosen_and_sent(at_bench: Open, stage: Stage, photo: Path) -> None:
    page = at_bench(reverse("bench"), java_script_enabled=False)
    page.get_by_label("Done. Take the photo").set_input_files(photo)
    page.get_by_role("button", name="Send: done, with this photo").click()
    page.wait_for_url("**/bench/kept/**")
    assert (Entry.objects.get().says, Entry.objects.get().photos.count()) == (Says.DONE, 1)
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_text("The photo is being developed.")).to_be_visible()


def test_without_script_a_photo_alone_is_sent(at_bench: Open, stage: Stage, photo: Path) -> None:
    page = at_bench(page_of(stage), java_script_enabled=False)
    page.get_by_label("Photo only").set_input_files(photo)
    page.get_by_role("button", name="Send the photo").click()
    page.wait_for_url("**/bench/kept/**")
    assert Entry.objects.get().says == Says.PHOTO


def test_with_script_no_send_button_is_in_the_way(at_bench: Open, stage: Stage) -> None:
    page = at_bench(page_of(stage))
    expect(page.get_by_role("button", name="Send")).to_have_count(0)
    expect(page.get_by_role("button", name="Done, no photo")).to_be_visible()


def test_a_form_is_sent_once_says_so_and_is_not_dead_for_good(at_bench: Open, stage: Stage) -> None:
    page = at_bench(page_of(stage))
    page.clock.install()
    send = "form => form.dispatchEvent(new Event('submit', {bubbles: true, cancelable: true}))"  # without the sending
    form, status = page.locator("form.work"), page.locator(".shut").get_by_role("status")
    assert form.evaluate(send) is True
    expect(status).to_have_text("Sending …")
    expect(page.get_by_text("Done. Take the photo")).to_be_hidden()
    assert form.evaluate(send) is False
    page.clock.fast_forward(30_000)
    expect(status).to_have_text("Still sending. Wait, or send it again.")
    assert form.evaluate(send) is True


def test_going_back_gives_the_form_a_new_id(at_bench: Open, stage: Stage, photo: Path) -> None:
    page = at_bench(page_of(stage))
    first = page.locator("input[name=entry]").first.input_value()
    page.get_by_label("Photo only").set_input_files(photo)
    page.wait_for_url("**/bench/kept/**")
    page.go_back()
    expect(page.locator("input[name=entry]").first).not_to_have_value(first)


def test_a_film_is_refused_with_its_sentence_and_the_words_stay(at_bench: Open, stage: Stage, tmp_path: Path) -> None:
    film = tmp_path / "film.jpg"
    film.write_bytes(FILM)
    page = at_bench(page_of(stage))
    page.get_by_text("Add a sentence, or keep it for us").click()
    page.get_by_label("A sentence with it").fill("The seam is clean.")
    page.get_by_label("Photo only").set_input_files(film)
    expect(page.get_by_text("That is a film, not a photo.")).to_be_visible()
    expect(page.get_by_label("A sentence with it")).to_have_value("The seam is clean.")


def sparse(folder: Path, count: int, size_bytes: int) -> list[Path]:
    """Files of this length that take no room."""
    paths = [folder / f"{number}.jpg" for number in range(count)]
    for path in paths:
        with path.open("wb") as file:
            file.truncate(size_bytes)
    return paths


TOO_MUCH = "Nothing was sent. At most 20 photos go at once, each of at most 60 MB, and 300 MB in all."


@pytest.mark.parametrize(("count", "size_bytes"), [(21, 9), (1, sniff.MOST_BYTES + 1), (6, 50_000_000)])
def test_too_much_at_once_is_said_before_it_is_sent(
    at_bench: Open, stage: Stage, photo: Path, tmp_path: Path, count: int, size_bytes: int
) -> None:
    page = at_bench(page_of(stage))
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.method))
    page.get_by_label("Photo only").set_input_files(sparse(tmp_path, count, size_bytes))
    expect(page.locator(".work").get_by_role("status")).to_contain_text(TOO_MUCH)
    expect(page.get_by_text("Done. Take the photo")).to_be_visible()
    assert "POST" not in asked
    page.get_by_label("Photo only").set_input_files(photo)  # and the form still works
    page.wait_for_url("**/bench/kept/**")
    assert Entry.objects.get().photos.count() == 1


def test_the_limits_said_are_those_kept() -> None:
    script = (Path(__file__).resolve().parent.parent.parent / "studio/bench/static/bench/bench.js").read_text()
    limits = dict(re.findall(r"(MOST_\w+) = ([\de]+)", script))
    assert int(limits["MOST_FILES"]) == settings.DATA_UPLOAD_MAX_NUMBER_FILES
    assert float(limits["MOST_BYTES"]) == sniff.MOST_BYTES
    assert 0 < web.LARGEST_BODY_BYTES - float(limits["MOST_BYTES_IN_ALL"]) <= settings.DATA_UPLOAD_MAX_MEMORY_SIZE


def test_another_photo_is_added_from_the_kept_page(at_bench: Open, stage: Stage, photo: Path, tmp_path: Path) -> None:
    entry = builders.log_done(stage, content=builders.jpeg("navy"), now=timezone.now())
    page = at_bench(reverse("bench-kept", args=[entry.pk]))
    act = page.locator("label.btn", has_text="Add another photo").bounding_box()
    back = page.get_by_role("button", name="Take it back").bounding_box()
    assert act
    assert back
    assert min(act["height"], back["height"]) >= 72
    page.get_by_label("Add another photo").set_input_files(photo)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Kept. A photo of Talking watering can, carving")
    assert sorted(Entry.objects.values_list("says", flat=True)) == ["done", "photo"]


def test_what_was_logged_is_taken_back_from_the_bench(at_bench: Open, stage: Stage) -> None:
    builders.log_done(stage, now=timezone.now())
    page = at_bench(reverse("bench"))
    page.get_by_role("link", name="carving of Talking watering can, done").click()
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Taken back.")
    assert Stage.objects.get(pk=stage.pk).done_at is None


def test_stuck_in_two_taps_and_carried_on_in_one(at_bench: Open, stage: Stage) -> None:
    page = at_bench(reverse("bench"))
    page.get_by_role("link", name="Stuck").click()
    page.get_by_role("button", name="Material").click()
    page.wait_for_url("**/bench/kept/**")
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"{stage.piece}, {stage} is stuck: it needs material")
    expect(page.get_by_text("Ines gets a letter.")).to_be_visible()
    assert Stuck.objects.standing().get().needs == Needs.MATERIAL
    page.get_by_role("button", name="Carry on").click()
    expect(page.get_by_role("status").first).to_have_text(f"{stage.piece}, {stage} goes on.")
    expect(page.get_by_role("link", name="Stuck")).to_be_visible()
    assert not Stuck.objects.standing().exists()


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_a_photo_and_a_sentence_wait_for_the_choice(at_bench: Open, stage: Stage, photo: Path, script: bool) -> None:
    page = at_bench(reverse("bench-stuck", args=[stage.pk]), java_script_enabled=script)
    page.get_by_label("A photo, if it helps").set_input_files(photo)
    page.get_by_label("A sentence, if it helps").fill("The lip cracked.")
    page.get_by_label("A sentence, if it helps").press("Enter")  # says nothing by itself
    assert not Entry.objects.exists()
    page.get_by_role("button", name="It broke").click()
    page.wait_for_url("**/bench/kept/**")
    entry = Entry.objects.get()
    assert (entry.stuck.needs, entry.sentence, entry.photos.count()) == (Needs.BROKE, "The lip cracked.", 1)


def test_too_large_a_photo_is_said_before_it_is_sent(at_bench: Open, stage: Stage, tmp_path: Path) -> None:
    page = at_bench(reverse("bench-stuck", args=[stage.pk]))
    page.get_by_label("A photo, if it helps").set_input_files(sparse(tmp_path, 1, sniff.MOST_BYTES + 1))
    page.get_by_role("button", name="A hand").click()
    expect(page.locator(".work").get_by_role("status")).to_contain_text(TOO_MUCH)
    page.get_by_role("button", name="A hand").click()  # without it
    page.wait_for_url("**/bench/kept/**")
    assert Stuck.objects.standing().count() == 1


@pytest.mark.parametrize("size", [PHONE, SMALL], ids=["phone", "small"])
def test_what_is_stuck_fits_a_screen_and_a_glove(at_bench: Open, stage: Stage, size: dict[str, int]) -> None:
    page = at_bench(reverse("bench-stuck", args=[stage.pk]), viewport=size)
    choices = page.locator(".pair .btn:visible")
    assert choices.count() == 4
    boxes = [box for choice in choices.all() if (box := choice.bounding_box())]
    for box in boxes:
        assert box["height"] >= 72
        assert box["y"] >= size["height"] * 0.55
        assert box["y"] + box["height"] <= size["height"]
    assert min(abs(one["x"] - other["x"]) for one in boxes for other in boxes if one["x"] != other["x"]) >= 84
    entry = builders.say_stuck(stage, sentence="The grey gelcoat is used up.", now=timezone.now())
    here = page.url.partition("/bench/")[0]
    for address in (page_of(stage), reverse("bench-kept", args=[entry.pk])):
        page.goto(here + address)
        act = page.get_by_role("button", name="Carry on").bounding_box()
        assert act
        assert act["height"] >= 72
        assert act["y"] + act["height"] <= size["height"], address


@pytest.mark.parametrize("size", [PHONE, SMALL], ids=["phone", "small"])
def test_what_a_glove_presses_is_large_low_and_on_the_screen(
    at_bench: Open, stage: Stage, size: dict[str, int]
) -> None:
    page = at_bench(reverse("bench"), viewport=size)
    acts = page.locator(".shut, .pair .btn:visible")
    assert acts.count() == 4
    for act in acts.all():
        box = act.bounding_box()
        assert box is not None
        assert box["height"] >= 72
        assert box["y"] >= size["height"] * 0.55  # within the lowest 45 %
        assert box["y"] + box["height"] <= size["height"]


@pytest.mark.parametrize("letters", ["100%", "200%"])
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_nothing_runs_off_the_side(at_bench: Open, stage: Stage, width: int, letters: str) -> None:
    builders.log_done(stage)
    run_due(timezone.now())
    entry = reverse("bench-kept", args=[Entry.objects.get().pk])
    page = at_bench(reverse("bench"), viewport={"width": width, "height": 640})
    here = page.url.removesuffix(reverse("bench"))
    held = builders.say_stuck(builders.stage(stage.piece.job, "mould"), sentence="The grey gelcoat is used up.")
    stuck = (page_of(held.stage), reverse("bench-stuck", args=[held.stage_id]), reverse("bench-kept", args=[held.pk]))
    free = reverse("bench-stuck", args=[builders.stage(stage.piece.job, "lay-up").pk])
    for address in (reverse("bench"), page_of(stage), entry, reverse("bench-all"), *stuck, free):
        page.goto(here + address)
        page.evaluate("letters => document.documentElement.style.fontSize = letters", letters)
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), address


def test_every_target_is_at_least_44_px(at_bench: Open, stage: Stage) -> None:
    builders.log_done(stage)
    page = at_bench(reverse("bench"))
    here = page.url.removesuffix(reverse("bench"))
    page.goto(here + page_of(stage))
    held = builders.say_stuck(builders.stage(stage.piece.job, "mould"))
    stuck = (page_of(held.stage), reverse("bench-stuck", args=[held.stage_id]), reverse("bench-kept", args=[held.pk]))
    done = reverse("bench-kept", args=[Entry.objects.get(says=Says.DONE).pk])
    for address in (page_of(stage), done, reverse("bench-all"), *stuck):
        page.goto(here + address)
        for target in page.locator("main :is(a, button, summary, label):visible").all():
            box = target.bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 44, f"{address}: {target.inner_text()}"


@pytest.mark.parametrize("size", [(2400, 1800), (1350, 2400)], ids=["lying", "upright"])
def test_a_phone_gets_the_small_copy_of_the_last_photo(at_bench: Open, stage: Stage, size: tuple[int, int]) -> None:
    """Two device pixels to one of the page, as most phones have. The large one would take ten seconds by 400 kbit/s."""
    builders.log_done(stage, content=builders.jpeg("navy", size))
    run_due(timezone.now())
    page = at_bench(page_of(stage), device_scale_factor=2)
    small = Rendition.objects.get(edge=480)
    assert str(page.locator("figure.half img").evaluate("image => image.currentSrc")).endswith(f"/{small.sha256}.jpg")
