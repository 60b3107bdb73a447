"""Draws the README's two pictures from a demo studio that runs: ``python -m tests.pictures``. It needs Chromium."""

import json
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from tests.conftest import need_service
from tests.measure.up import ROOT, own_folder, running

FOLDER = ROOT / "fixtures" / "pictures"
HIGH = 860
PHONE, DESK = 390, 940
GAP, GROUND = 24, "#8a867a"


def shot(browser: Browser, way_in: str, path: str, width: int) -> Image.Image:
    """One page as it first shows, by the eyes of whoever the way in is for."""
    context = browser.new_context(viewport={"width": width, "height": HIGH}, device_scale_factor=1.5)
    page = context.new_page()
    page.goto(way_in)
    if path:
        page.goto(f"{way_in.split('/open/')[0]}{path}")
    page.wait_for_load_state("networkidle")
    picture = Image.open(BytesIO(page.screenshot()))
    context.close()
    return picture.convert("RGB")


def beside(*pictures: Image.Image) -> Image.Image:
    width = sum(picture.width for picture in pictures) + GAP * (len(pictures) + 1)
    sheet = Image.new("RGB", (width, pictures[0].height + 2 * GAP), GROUND)
    left = GAP
    for picture in pictures:
        sheet.paste(picture, (left, GAP))
        left += picture.width + GAP
    return sheet


def draw(ready: dict[str, str], browser: Browser) -> None:
    lead, maker, client = ready["lead"], ready["maker"], ready["client"]
    keep(
        "the-line",
        shot(browser, maker, "", PHONE),
        shot(browser, lead, "/office/jobs/1/", DESK),
        shot(browser, client, "", PHONE),
    )
    keep("deadlines", shot(browser, lead, "", DESK), shot(browser, lead, "", PHONE))


def keep(name: str, *pictures: Image.Image) -> None:
    beside(*pictures).save(FOLDER / f"{name}.jpg", quality=82, optimize=True)
    print(FOLDER.relative_to(Path.cwd()) / f"{name}.jpg")


if __name__ == "__main__":
    with own_folder(keep=False) as folder, running(folder, "auto"), sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=need_service("chromium"), args=["--no-sandbox"])
        draw(json.loads((folder / "ready.json").read_text()), browser)
        browser.close()
