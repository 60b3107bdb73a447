"""What is printed: Deadlines on one sheet across, and the sheet of a job for the wall. A4 is 210 by 297 mm (ISO 216)."""

import re

import pytest
from django.db import connection
from django.test import Client as Requests
from django.test.utils import CaptureQueriesContext
from playwright.sync_api import Browser

from studio.workshop import actions
from studio.workshop.models import Job, StageKind
from tests import builders
from tests.conftest import NOW
from tests.office import shopful
from tests.office.rows import text

pytestmark = pytest.mark.django_db
A4_MM = (210, 297)


def sheets(chromium: Browser, html: str) -> list[tuple[int, int]]:
    """Width and height in mm of each page that the browser would print; the pictures are left out."""
    context = chromium.new_context()
    page = context.new_page()
    page.route("**/*", lambda route: route.abort())
    page.set_content(re.sub(r"<(script|link)[^>]*>", "", html))
    printed = page.pdf(prefer_css_page_size=True).decode("latin-1")
    context.close()
    boxes = re.findall(r"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)  # in points of 1/72 inch (ISO 32000-1, 7.7.3.3)
    return [(round(float(width) * 25.4 / 72), round(float(height) * 25.4 / 72)) for width, height in boxes]


@pytest.mark.browser
@pytest.mark.once
def test_deadlines_fit_on_one_sheet_across(office: Requests, chromium: Browser) -> None:
    shopful.fill(8, NOW)
    page = office.get("/office/").content.decode()
    assert page.count('class="why"') == 9  # eight jobs, and one stage with a day of its own
    assert sheets(chromium, page) == [A4_MM[::-1]]


@pytest.mark.browser
@pytest.mark.once
@pytest.mark.parametrize("pieces", [1, 2, 5])
def test_a_jobs_sheet_fits_on_one_page(office: Requests, chromium: Browser, pieces: int) -> None:
    made = five_snails(pieces)
    assert sheets(chromium, office.get(f"/office/jobs/{made.pk}/wall/").content.decode()) == [A4_MM]


def five_snails(number: int = 5) -> Job:
    made = builders.job("Snail trail", stages=())
    made.pieces.all().delete()
    for count in range(1, number + 1):
        piece = actions.add_piece(
            made,
            name=f"Snail {count} of {number}",
            note_to_maker="Leave the lip 5 mm proud.",
            by=builders.lead(),
            now=NOW,
        )
        for kind in ("lay-up", "prime", "paint", "pack"):
            actions.add_stage(piece, kind=StageKind.objects.get(name=kind), by=builders.lead(), now=NOW)
    builders.work()
    return made


def test_what_is_done_is_ticked_and_the_rest_has_its_day_and_who(office: Requests) -> None:
    builders.person("Ada")
    made = builders.job(stages=("carving", "paint"))
    Job.objects.update(van_day="2026-03-20", wanted_day="2026-03-23", fixed=True)
    builders.log_done(builders.stage(made, "carving"), photo=False)
    builders.work()
    page = office.get(f"/office/jobs/{made.pk}/wall/")
    assert page.content.decode().count("<path") == 1
    said = text(page)
    assert (
        "Talking watering can for Wharfside Theatre Van Fri 20 Mar It must be there Mon 23 Mar, and that day cannot move."
        in said
    )
    assert "carving done Tue 10 Mar by Ada paint Tue 10 to Wed 11 Mar, Ada, booth, sets until Thu 12 Mar" in said
    assert "today" not in said.partition("Van")[2].lower().replace("deadlines and the bench", "")
    assert "As planned on Tue 10 Mar 10:42." in said
    assert "the data sheet and the cold decide" in said
    assert "by local rules" in said


def test_without_a_van_pieces_or_a_plan_it_says_so(office: Requests) -> None:
    made = builders.job(stages=())
    made.pieces.all().delete()
    Job.objects.update(closed_on="2026-03-09")
    said = text(office.get(f"/office/jobs/{made.pk}/wall/"))
    assert "No van day yet Closed on Mon 9 Mar. Its pieces are not set out yet. Printed on Tue 10 Mar." in said


def test_it_asks_as_much_for_five_pieces_as_for_one(office: Requests) -> None:
    def questions(job: Job) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert office.get(f"/office/jobs/{job.pk}/wall/").status_code == 200
        return len(asked)

    one = builders.job(stages=("carving",))
    builders.work()
    assert questions(five_snails()) == questions(one)
