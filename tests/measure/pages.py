"""What the pages weigh and how soon they are there, on a slow phone and by the server's own clock.

    python -m tests.measure.pages [--keep]

A studio is started as anybody starts it, with its demo; one more job gets five photographs of 12 megapixels through the form of
the bench. Chromium then opens the client's page of that job and the stage at the bench as a phone does (390 px, two
device pixels to one), with nothing cached, by 400 kbit/s, 400 ms and a processor four times as slow, set through the DevTools
protocol; medians of five runs. ``lcp`` and ``cls`` are the browser's own entries (Largest Contentful Paint, Layout Instability),
the worse page of the two. ``client_kb``: the page with its sheet, packed with gzip -6. Scripts: what arrived of them.
Of server times the worst of these two pages and of the list of the bench is held; the others are told.
Server times: medians of so many pairs in turn, each page over an empty one of the same base, behind the same door, by Django's
test client through all middleware, on the running studio's record. The last line is JSON.
"""

import argparse
import functools
import gzip
import logging
import sys
import time
from collections.abc import Callable, Sequence
from io import BytesIO
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any
from urllib.parse import urljoin

from tests.measure.deadlines_page import seconds
from tests.measure.phone import Phone
from tests.measure.photos import draw_photos
from tests.measure.up import Up, missed, own_folder, running, table, told

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse
    from django.test import Client
    from playwright.sync_api import Browser

    from tests.measure.yard import Order

RUNS = 5
PAIRS = 21
PHOTOS, MANY_PHOTOS = 5, 200
AT_ONCE = 20  # photos in one form
DEVELOPED_WITHIN_S = 120.0
HELD = ("client", "bench", "bench, a stage")  # what is wanted on a slow phone: the server's share of the wait is theirs
SLOW = {"offline": False, "latency": 400, "downloadThroughput": 400_000 / 8, "uploadThroughput": 400_000 / 8}
CPU_TIMES = 4
MOST = {
    "client_kb": 14,
    "client_script_kb": 0,
    "bench_script_kb": 20,
    "lcp_s_400kbps": 2.5,
    "cls": 0.02,
    "over_empty_page": 5,
}
WATCH = """
new PerformanceObserver(list => { for (const one of list.getEntries()) window.lcpMs = one.startTime })
    .observe({ type: "largest-contentful-paint", buffered: true })
window.shifts = []
new PerformanceObserver(list => { for (const one of list.getEntries()) if (!one.hadRecentInput) shifts.push([one.startTime, one.value]) })
    .observe({ type: "layout-shift", buffered: true })
"""
Shift = tuple[float, float]


def cls(shifts: Sequence[Shift]) -> float:
    """Of the session windows the worst: shifts less than 1 s apart, at most 5 s in all (web.dev/articles/cls, from memory)."""
    worst = total = 0.0
    first = last = -10_000.0
    for at_ms, value in shifts:
        if at_ms - last >= 1000 or at_ms - first >= 5000:
            first, total = at_ms, 0.0
        total, last = total + value, at_ms
        worst = max(worst, total)
    return worst


def seen_by_phone(browser: "Browser", up: Up, path: str, cookies: dict[str, str]) -> tuple[float, float, int]:
    """LCP in s, CLS, and the bytes of script that arrived."""
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, device_scale_factor=2, has_touch=True, is_mobile=True, locale="en-GB"
    )
    context.add_cookies([{"name": name, "value": value, "url": up.url} for name, value in cookies.items()])
    context.add_init_script(WATCH)
    page = context.new_page()
    line = context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.setCacheDisabled", {"cacheDisabled": True})
    line.send("Network.emulateNetworkConditions", SLOW)
    line.send("Emulation.setCPUThrottlingRate", {"rate": CPU_TIMES})
    kinds: dict[str, str] = {}
    arrived: dict[str, float] = {}
    line.on("Network.responseReceived", lambda told: kinds.update({told["requestId"]: told["type"]}))
    line.on("Network.loadingFinished", lambda told: arrived.update({told["requestId"]: told["encodedDataLength"]}))
    answer = page.goto(up.url + path, wait_until="networkidle", timeout=60_000)
    if answer is None or answer.status != 200:
        raise RuntimeError(f"{path} was answered with {answer and answer.status}.")
    lcp_ms, shifts = page.evaluate("[window.lcpMs, window.shifts]")
    context.close()
    return lcp_ms / 1000, cls(shifts), int(sum(size for one, size in arrived.items() if kinds.get(one) == "Script"))


def measure(folder: Path) -> tuple[dict[str, float], list[list[object]], list[list[object]]]:
    photos = draw_photos(folder / "photos", PHOTOS)
    with running(folder, "auto") as up:
        import django

        django.setup()
        from tests.measure import yard

        (order,) = yard.set_out(photos[:1])
        maker = Phone(up.url)
        maker.sign_in(order.maker_email, yard.PASSWORD)
        for photo in photos:
            _log(maker, order, photo.read_bytes())
        client = Phone(up.url)
        _developed(client, order.client_path, PHOTOS)
        page = client.get(order.client_path).body
        rows: list[list[object]] = [["page", "LCP s", "CLS", "script bytes", "gzip bytes"]]
        lcp_s, shift, script = {}, {}, {}
        bench = f"/bench/{order.stage_id}/"
        weight = {"client": len(gzip.compress(page, 6)), "bench": len(gzip.compress(maker.get(bench).body, 6))}
        for name, path, cookies in (("client", order.client_path, {}), ("bench", bench, maker.cookies)):
            runs = _runs(up, path, cookies)
            lcp_s[name], shift[name], script[name] = (median(run[part] for run in runs) for part in range(3))
            rows.append([name, f"{lcp_s[name]:.2f}", f"{shift[name]:.3f}", int(script[name]), weight[name]])
        logging.disable(logging.INFO)  # a line for each request is the same for both, and in the way here
        times = _server_times(order)
        few = _queries(order.client_path)
        _log_small(order, MANY_PHOTOS - PHOTOS)
        _developed(client, order.client_path, MANY_PHOTOS)
        many = _queries(order.client_path)
    figures = {
        "client_kb": round(weight["client"] / 1000, 1),
        "client_script_kb": round(script["client"] / 1000, 1),
        "bench_script_kb": round(script["bench"] / 1000, 1),
        "lcp_s_400kbps": round(max(lcp_s.values()), 2),
        "cls": round(max(shift.values()), 3),
        "queries_5_photos": few,
        "queries_200_photos": many,
        "over_empty_page": round(max(page_s / empty_s for name, page_s, empty_s in times if name in HELD), 1),
    }
    heads: list[object] = ["page", "ms", "empty page of its base, ms", "times"]
    lines: list[list[object]] = [[name, f"{a * 1000:.1f}", f"{b * 1000:.2f}", f"{a / b:.1f}"] for name, a, b in times]
    return figures, rows, [heads, *lines]


def _runs(up: Up, path: str, cookies: dict[str, str]) -> list[tuple[float, float, int]]:
    import shutil

    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium")
    if chromium is None:
        raise RuntimeError("chromium is not installed.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        runs = [seen_by_phone(browser, up, path, cookies) for _ in range(RUNS)]
        browser.close()
    return runs


def _log(maker: Phone, order: "Order", photo: bytes) -> None:
    path = f"/bench/{order.stage_id}/"
    form = maker.get(path).page.camera()
    fields = form.saying("says", "photo")
    answer = maker.send_photo(urljoin(path, form.action), fields, form.files[0], photo)
    if answer.status not in {302, 303}:
        raise RuntimeError(f"Logging a photo was answered with {answer.status}.")


def _log_small(order: "Order", count: int) -> None:
    """So many different photos, straight through the action; the workers develop them as any other."""
    from uuid import uuid4

    from django.core.files.uploadedfile import TemporaryUploadedFile
    from django.utils import timezone

    from studio.workshop import actions
    from studio.workshop import photos as keeping
    from studio.workshop.models import Person, Says, Stage

    stage, maker = Stage.objects.get(pk=order.stage_id), Person.objects.get(email=order.maker_email)
    for first in range(0, count, AT_ONCE):
        files = [_file(TemporaryUploadedFile, number) for number in range(first, min(first + AT_ONCE, count))]
        kept = keeping.keep(files).kept
        now = timezone.now()
        actions.log_at_bench(
            entry_id=uuid4(), stage=stage, says=Says.PHOTO, photos=kept, sentence="", by=maker, now=now
        )


def _file(kind: Callable[..., Any], number: int) -> Any:
    from PIL import Image

    out = BytesIO()
    Image.new("RGB", (640 + number, 480), (number % 256, 120, 90)).save(out, "JPEG")
    file = kind("photo.jpg", "image/jpeg", len(out.getvalue()), None)
    file.write(out.getvalue())
    file.flush()
    file.seek(0)
    return file


def _developed(client: Phone, path: str, count: int) -> None:
    until = time.monotonic() + DEVELOPED_WITHIN_S
    while len(client.get(path).page.pictures) < count:
        if time.monotonic() > until:
            raise RuntimeError(f"Not all {count} photos were developed within {DEVELOPED_WITHIN_S:.0f} s.")
        time.sleep(0.5)


def _queries(path: str) -> int:
    from django.db import connections
    from django.test import Client, override_settings
    from django.test.utils import CaptureQueriesContext

    with override_settings(ALLOWED_HOSTS=["*"]):
        seconds(Client(), path)  # the first visit of an hour is noted
        with (
            CaptureQueriesContext(connections["portal"]) as asked,
            CaptureQueriesContext(connections["default"]) as own,
        ):
            seconds(Client(), path)
    return len(asked) + len(own)


def _server_times(order: "Order") -> list[tuple[str, float, float]]:
    """Each page and the empty one of its base, in s."""
    from django.test import Client, override_settings
    from django.urls import include, path

    from clientportal.access import opened
    from studio.front.signin import bench_only, lead_only
    from studio.workshop.models import Person, Role, Stage

    job = Stage.objects.get(pk=order.stage_id).piece.job_id
    lead, maker, nobody = Client(), Client(), Client()
    lead.force_login(Person.objects.filter(role=Role.LEAD).earliest("pk"))
    maker.force_login(Person.objects.get(email=order.maker_email))
    pages: list[tuple[str, Client, str, str]] = [
        ("client", nobody, order.client_path, order.client_path.split("/")[-2]),
        ("bench", maker, "/bench/", "bench"),
        ("bench, a stage", maker, f"/bench/{order.stage_id}/", "bench"),
        ("deadlines", lead, "/office/", "office"),
        ("jobs", lead, "/office/jobs/", "office"),
        ("photos", lead, "/office/photos/", "office"),
        ("letters", lead, "/office/letters/", "office"),
        ("job", lead, f"/office/jobs/{job}/", "office"),
    ]
    routes = (
        path("empty/bench/", bench_only(empty(EMPTY["bench"]))),
        path("empty/office/", lead_only(empty(EMPTY["office"]))),
        path("empty/<str:token>/", opened(lambda job_id: True)(empty(EMPTY["client"]))),
        path("", include("studio.urls")),
    )
    with override_settings(ALLOWED_HOSTS=["*"], ROOT_URLCONF=routes):
        return [(name, *_medians(browser, address, f"/empty/{base}/")) for name, browser, address, base in pages]


# What each face's pages stand on, with nothing on them.
EMPTY = {
    "client": '{% extends "base_quiet.html" %}{% load front %}{% block styles %}{% styles "client" %}{% endblock %}',
    "bench": '{% extends "bench/page.html" %}',
    "office": '{% extends "office/page.html" %}',
}


def empty(page: str) -> Callable[..., "HttpResponse"]:
    @functools.cache  # put together once, as any other template is
    def template() -> Any:
        from django.template import engines

        return engines["django"].from_string(page)

    def view(request: "HttpRequest", *opened: object) -> "HttpResponse":
        from django.http import HttpResponse

        return HttpResponse(template().render({"heading": "Nothing"}, request))

    return view


def _medians(browser: "Client", page: str, bare: str) -> tuple[float, float]:
    for path in (page, bare):  # what is put together once is there now
        seconds(browser, path)
    pairs = [(seconds(browser, page), seconds(browser, bare)) for _ in range(PAIRS)]
    return median(pair[0] for pair in pairs), median(pair[1] for pair in pairs)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", action="store_true", help="keep the data folder")
    with own_folder(parser.parse_args().keep) as folder:
        figures, seen, times = measure(folder)
        print(table(seen), table(times), sep="\n\n")
    problems = missed(figures, MOST, {})
    if figures["queries_5_photos"] != figures["queries_200_photos"]:
        problems.append("the client's page asks the database more often for more photos")
    return told(figures, problems)


if __name__ == "__main__":
    sys.exit(main())
