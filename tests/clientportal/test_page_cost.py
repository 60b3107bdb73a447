"""What the client's page costs, and what it never touches."""

import dataclasses
import gzip
from datetime import date

import pytest
from django.db import connections, models
from django.test import Client
from django.test.utils import CaptureQueriesContext

from clientportal.pages import JobPage, job_page
from studio.routers import reading_as_portal
from studio.workshop.links import path_for
from studio.workshop.models import Job, Link
from tests import builders
from tests.clientportal.looking import add_photos, look
from tests.conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "portal"])


def test_the_same_number_of_queries_at_5_and_at_200_photos(can: Job, priya: Link) -> None:
    counts = []
    for more, first in ((5, 0), (195, 5)):
        for start in range(first, first + more, 5):
            add_photos(builders.stage(can), 5, f"Sentence {start}.", first=start)
        with (
            CaptureQueriesContext(connections["portal"]) as portal,
            CaptureQueriesContext(connections["default"]) as other,
        ):
            page = look(priya)
        assert page.count("<img") == first + more
        # The bell rings at the first visit, after the answer, by a connection of its own.
        assert all("UPDATE" in query["sql"] and "opened_on" in query["sql"] for query in other.captured_queries)
        counts.append(len(portal))
    assert counts[0] == counts[1]
    assert counts[0] <= 10


def test_page_and_style_weigh_at_most_14_kb(can: Job, priya: Link) -> None:
    builders.confirm(can, words="A sentence of the usual length about when it comes. " * 4, by=builders.lead(), now=NOW)
    add_photos(builders.stage(can), 5, "Cut from six glued blocks of foam, then rasped by eye from your sketch.")
    page = look(priya)
    assert page.count("<img") == 5
    assert len(gzip.compress(page.encode(), 6)) <= 14_000


def test_templates_get_frozen_values_and_no_model(can: Job, priya: Link) -> None:
    builders.confirm(can, words="Words.", by=builders.lead(), now=NOW)
    add_photos(builders.stage(can), 2)
    with reading_as_portal():
        page = job_page(Link.objects.select_related("contact", "job__client").get(), NOW.date())

    def check(value: object) -> None:
        assert not isinstance(value, (models.Model, models.QuerySet))
        if isinstance(value, tuple):
            for part in value:
                check(part)
        elif dataclasses.is_dataclass(value):
            assert type(value).__dataclass_params__.frozen  # type: ignore[union-attr]
            for field in dataclasses.fields(value):
                check(getattr(value, field.name))
        else:
            assert isinstance(value, (str, int, bool, date, type(None)))

    assert isinstance(page, JobPage)
    check(page)


def test_no_script_no_cookie_no_session(can: Job, priya: Link) -> None:
    client = Client()
    client.force_login(builders.lead())
    client.cookies.load({"light": "slate"})
    response = client.get(path_for(priya))
    page = response.content.decode()
    assert not response.cookies
    assert "Vary" not in response.headers
    assert response.headers["Cache-Control"] == "private, no-store"
    assert response.headers["Referrer-Policy"] == "no-referrer"
    assert response.headers["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert "<script" not in page
    assert " style=" not in page
    assert "<form" not in page
    assert "slate" not in page.split("</style>")[1]


def test_head_is_answered_without_a_body(can: Job, priya: Link) -> None:
    response = Client().head(path_for(priya))
    assert (response.status_code, response.content) == (200, b"")
