from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def site(settings: Settings) -> Client:
    """Somebody who is not signed in, on a site with a few broken pages. What breaks is answered, not raised."""
    settings.ROOT_URLCONF = "tests.front.pages"
    return Client(raise_request_exception=False)
