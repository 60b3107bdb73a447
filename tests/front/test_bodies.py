"""A large body is refused before anything reads it, everywhere but at the bench."""

import pytest
from django.test import Client

from studio.front.bodies import MOST_WORDS_BYTES

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("path", ["/sign-in/", "/light/", "/office/", "/nowhere/"])
def test_a_large_body_is_refused(path: str) -> None:
    body = b"x" * (MOST_WORDS_BYTES + 1)
    answer = Client().post(path, body, content_type="application/octet-stream")
    assert answer.status_code == 413
    assert "Nothing of it was kept" in answer.content.decode()


def test_a_clients_address_says_what_it_always_says() -> None:
    body = b"x" * (MOST_WORDS_BYTES + 1)
    answer = Client().post("/with/nobody/", body, content_type="application/octet-stream")
    assert answer.status_code == 404


def test_photos_come_to_the_bench() -> None:
    body = b"x" * (MOST_WORDS_BYTES + 1)
    answer = Client().post("/bench/1/", body, content_type="application/octet-stream")
    assert answer.status_code == 303  # to the sign-in


def test_what_the_studio_sees_is_kept_by_no_cache() -> None:
    assert Client().get("/office/").headers["Cache-Control"] == "private, no-store"
