"""What all tests share: a studio set out, a clock that stands still, and services that are there or say why not."""

import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.core.cache import cache
from django.core.management import call_command
from pytest_django import DjangoDbBlocker

from tests.databases import Databases

if TYPE_CHECKING:
    from playwright.sync_api import Browser

NOW = datetime(2026, 3, 10, 10, 42, tzinfo=UTC)  # a Tuesday; no clock changes near


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> None:
    """On PostgreSQL the clients' pages read as a role of their own, in tests too."""
    with django_db_blocker.unblock():
        call_command("portal_role", stdout=StringIO())


@pytest.fixture(autouse=True)
def folders(tmp_path: Path, settings: object) -> None:
    """Media, outbox and arriving uploads of one test are its own."""
    for name, folder in (("MEDIA_ROOT", "media"), ("OUTBOX", "outbox"), ("FILE_UPLOAD_TEMP_DIR", "arriving")):
        (tmp_path / folder).mkdir(exist_ok=True)
        setattr(settings, name, tmp_path / folder)


@pytest.fixture(autouse=True)
def nobody_has_tried() -> None:
    """Tries to sign in are counted in this process, and one test's are not another's."""
    cache.clear()


def need_service(name: str) -> str:
    """The path of a program; else the test is skipped with the reason, or fails where services are required."""
    found = shutil.which(name)
    if found:
        return found
    reason = f"{name} is not installed"
    if os.environ.get("STUDIO_REQUIRE_SERVICES") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


SHARED = Path(__file__).resolve().parent.parent.parent / "shared" / "data"


def need_shared(name: str) -> Path:
    """A file or folder of open data beside the checkout, or a skip with the reason."""
    path = SHARED / name
    if not path.exists():
        pytest.skip(f"the open data {name} is not beside this checkout")
    return path


@pytest.fixture
def published(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The errand ids that would have been nudged, instead of a broker."""
    from studio.celery import app

    sent: list[str] = []
    monkeypatch.setattr(app, "send_task", lambda name, args, **options: sent.append(args[0]))
    return sent


@pytest.fixture
def databases() -> Iterator[Databases]:
    made = Databases()
    yield made
    made.drop()


@pytest.fixture(scope="module")
def chromium() -> Iterator["Browser"]:
    """One browser for all tests of a module; each opens contexts of its own."""
    path = need_service("chromium")
    from playwright.sync_api import sync_playwright

    # Playwright runs an event loop in this thread, which Django would take for a mistake.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
            yield browser
            browser.close()
    finally:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
