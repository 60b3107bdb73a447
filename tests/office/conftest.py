"""A lead who is signed in, and browsers of those who are not a lead."""

from collections.abc import Iterator
from datetime import datetime

import pytest
import time_machine
from django.test import Client as Browser

from studio.workshop import actions
from studio.workshop.models import Person, Role
from tests import builders


@pytest.fixture(autouse=True)
def at_ten_to_eleven(now: datetime) -> Iterator[None]:
    """The pages read the clock; here it stands at the moment when the builders log."""
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def ines(db: None) -> Person:
    actions.set_out_studio()
    return builders.lead()


@pytest.fixture
def office(ines: Person, published: list[str]) -> Browser:
    browser = Browser()
    browser.force_login(ines)
    return browser


@pytest.fixture
def ada(db: None) -> Person:
    return builders.person("Ada")


@pytest.fixture
def kit(db: None) -> Person:
    return builders.person("Kit", Role.PACKER)
