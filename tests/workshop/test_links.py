"""Clients' links: what opens them, what does not, and that the key to them is written down nowhere."""

import string
from datetime import timedelta

import pytest
from django.db import connection
from pytest_django import Settings

from studio.workshop import actions
from studio.workshop.links import address_for, link_for, path_for, token_for
from studio.workshop.models import Link
from tests import builders
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
TODAY = NOW.date()
BASE64URL = string.ascii_letters + string.digits + "-_"  # RFC 4648, section 5


@pytest.fixture
def link() -> Link:
    return builders.link(builders.job())


def test_a_token_opens_its_own_link(link: Link) -> None:
    other = builders.link(builders.job("Ammonite"), "Lena")
    assert link_for(token_for(link), TODAY) == link
    assert link_for(token_for(other), TODAY) == other
    assert address_for(link).endswith(f"/with/{token_for(link)}/")


def test_every_character_counts(link: Link) -> None:
    token = token_for(link)
    for place, character in enumerate(token):
        for instead in BASE64URL.replace(character, "") if place > len(link.public_id) else "x.":
            if instead != character:
                assert link_for(token[:place] + instead + token[place + 1 :], TODAY) is None, place


def test_neither_shorter_nor_longer(link: Link) -> None:
    token = token_for(link)
    assert len(token.partition(".")[2]) == 24
    for wrong in (token[:-1], token + "A", token + "=", token + "\n", " " + token, token + "." + token, ""):
        assert link_for(wrong, TODAY) is None


def test_it_is_stored_nowhere(link: Link) -> None:
    """Nor is any part of it from which the rest could be had: neither the signature nor the whole."""
    signature = token_for(link).partition(".")[2]
    seen = 0
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            for row in cursor.fetchall():
                assert signature not in " ".join(map(str, row)), table
                seen += 1
    assert seen > 10


def test_given_again_after_it_was_revoked_it_is_another(link: Link) -> None:
    old = token_for(link)
    actions.revoke_link(link, by=builders.lead(), now=NOW)
    assert link_for(old, TODAY) is None
    anew = actions.give_link(link.contact, link.job, by=builders.lead(), now=NOW)
    assert anew.pk == link.pk
    assert token_for(anew) != old
    assert link_for(old, TODAY) is None
    assert link_for(token_for(anew), TODAY) == anew


def test_it_opens_until_the_end_of_its_last_day(link: Link) -> None:
    Link.objects.update(expires_on=TODAY)
    assert link_for(token_for(link), TODAY) == link
    assert link_for(token_for(link), TODAY + timedelta(days=1)) is None


def test_an_old_key_opens_what_it_signed_and_signs_nothing_new(link: Link, settings: Settings) -> None:
    settings.LINK_KEY, settings.LINK_KEY_FALLBACKS = "the first key, of a good length", []
    old = token_for(link)
    settings.LINK_KEY = "the second key, of a good length"
    assert token_for(link) != old
    assert link_for(old, TODAY) is None
    settings.LINK_KEY_FALLBACKS = ["another one before", "the first key, of a good length"]
    assert link_for(old, TODAY) == link
    assert link_for(token_for(link), TODAY) == link


def test_the_site_key_is_not_the_link_key(link: Link, settings: Settings) -> None:
    before = path_for(link)
    settings.SECRET_KEY = "changed" * 8
    assert path_for(link) == before
