import base64
import hashlib
import re

import pytest
from django.test import Client

from studio.front import sheets

pytestmark = pytest.mark.django_db(databases=["default", "portal"])

ANSWERS = {
    "/sign-in/": 200,
    "/robots.txt": 200,
    "/": 302,
    "/nowhere/": 404,
    "/denied/": 403,
    "/odd/": 400,
    "/too-big/": 413,
    "/breaks/": 500,
    "/with/abc/": 404,
    "/with/abc/breaks/": 500,
    "/static/natch.svg": 200,
}
NOT_PAGES = {"/", "/robots.txt", "/static/natch.svg"}


@pytest.mark.parametrize(("address", "status"), ANSWERS.items())
def test_every_answer_says_what_it_may_load(site: Client, address: str, status: int) -> None:
    response = site.get(address)
    assert response.status_code == status
    policy = response.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none';")
    assert "frame-ancestors 'none'" in policy
    assert "base-uri 'none'" in policy
    assert "unsafe" not in policy
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.headers["X-Frame-Options"] == "DENY"
    assert response.headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert response.headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "camera=(self)" in response.headers["Permissions-Policy"]
    response.close()


@pytest.mark.parametrize("address", [address for address in ANSWERS if address not in NOT_PAGES])
def test_the_style_element_is_the_one_whose_hash_is_allowed(site: Client, address: str) -> None:
    response = site.get(address)
    found = re.findall(r"<style>(.*?)</style>", response.content.decode(), re.DOTALL)
    assert len(found) == 1
    # CSP level 3, 2.3.1: the base64 of the SHA-256 of the element's text, in single quotes.
    digest = base64.b64encode(hashlib.sha256(found[0].encode()).digest()).decode()
    styles = re.search(r"style-src ([^;]*)", response.headers["Content-Security-Policy"])
    assert styles is not None
    assert f"'sha256-{digest}'" in styles.group(1).split()


@pytest.mark.once
@pytest.mark.parametrize("face", sheets.FACES)
def test_the_hash_of_every_face_is_allowed_everywhere(face: str) -> None:
    from studio.front.csp import CLIENT_POLICY, POLICY

    assert sheets.source(face) in POLICY
    assert sheets.source(face) in CLIENT_POLICY


def test_a_clients_address_goes_no_further(site: Client) -> None:
    response = site.get("/with/abc/")
    assert response.headers["Referrer-Policy"] == "no-referrer"
    assert response.headers["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert response.headers["Cache-Control"] == "private, no-store"
    assert "script-src" not in response.headers["Content-Security-Policy"]
    assert not response.cookies


def test_elsewhere_a_form_still_says_where_it_comes_from(site: Client) -> None:
    response = site.get("/sign-in/")
    assert response.headers["Referrer-Policy"] == "same-origin"
    assert "X-Robots-Tag" not in response.headers


def test_a_view_may_be_stricter(site: Client) -> None:
    assert site.get("/own-policy/").headers["Content-Security-Policy"] == "sandbox"


def test_robots_are_let_in_so_that_they_read_noindex(site: Client) -> None:
    assert site.get("/robots.txt").content == b"User-agent: *\nAllow: /\n"
