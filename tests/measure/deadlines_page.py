"""What Deadlines costs: how often it asks the database with 8 and with 40 jobs, and its time over that of an empty page.

    python -m tests.measure.deadlines_page

The last line is JSON. The empty page extends the office's own, with nothing in it, and goes the same way: signed in, through
all middleware, by Django's test client. Times are medians of 21 pairs in turn, in a record and a data folder of their own.
"""

import functools
import json
import os
import subprocess
import sys
import tempfile
import time
from statistics import median
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

from tests.measure.up import OWN, ROOT

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse
    from django.test import Client

FEW, MANY = 8, 40
PAIRS = 21
EMPTY = "/empty/"


def page_figures() -> dict[str, float]:
    """In a process of its own, since one process knows one data folder."""
    command = [sys.executable, "-m", "tests.measure.deadlines_page"]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    figures: dict[str, float] = json.loads(done.stdout.strip().splitlines()[-1])
    return figures


def _measure() -> dict[str, float]:
    from django.core.management import call_command
    from django.test import Client, override_settings
    from django.urls import include, path
    from django.utils import timezone

    from studio.celery import app
    from studio.front.signin import lead_only
    from tests import builders
    from tests.office.shopful import fill

    call_command("migrate", verbosity=0)
    routes = (path("empty/", lead_only(_empty)), path("", include("studio.urls")))
    with patch.object(app, "send_task"), override_settings(ALLOWED_HOSTS=["*"], ROOT_URLCONF=routes):
        fill(FEW, timezone.now())
        browser = Client()
        browser.force_login(builders.lead())
        few = _queries(browser)
        fill(MANY, timezone.now())
        many = _queries(browser)
        pairs = [(seconds(browser, "/office/"), seconds(browser, EMPTY)) for _ in range(PAIRS)]
    page, empty = (median(times) for times in zip(*pairs, strict=True))
    print(f"Deadlines with {MANY} jobs {page * 1000:.1f} ms, an empty page {empty * 1000:.2f} ms")
    over = round(page / empty, 2)
    return {"deadlines_queries_8_jobs": few, "deadlines_queries_40_jobs": many, "deadlines_over_empty_page": over}


def _queries(browser: "Client") -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    seconds(browser, "/office/")  # what is put together once is there now
    seconds(browser, EMPTY)
    with CaptureQueriesContext(connection) as asked:
        seconds(browser, "/office/")
    return len(asked)


def seconds(browser: "Client", path: str) -> float:
    began = time.perf_counter()
    answer = browser.get(path)
    took = time.perf_counter() - began
    if answer.status_code != 200:
        raise RuntimeError(f"{path} was answered with {answer.status_code}.")
    return took


def _empty(request: "HttpRequest") -> "HttpResponse":
    from django.http import HttpResponse

    return HttpResponse(_nothing().render({"heading": "Nothing"}, request))


@functools.cache
def _nothing() -> Any:
    """Put together once, as any other template is."""
    from django.template import engines

    return engines["django"].from_string('{% extends "office/page.html" %}')


def main() -> None:
    for name in OWN:
        os.environ.pop(name, None)
    os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"
    with tempfile.TemporaryDirectory(prefix="natch-measure-") as folder:
        os.environ["STUDIO_DATA"] = folder
        import django

        django.setup()
        print(json.dumps(_measure()))


if __name__ == "__main__":
    main()
