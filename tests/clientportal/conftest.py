"""A job, and the link of one contact to its page."""

import pytest

from studio.workshop.models import Job, Link
from tests import builders


@pytest.fixture
def can() -> Job:
    return builders.job()


@pytest.fixture
def priya(can: Job) -> Link:
    return builders.link(can)
