"""The web server as a process: whom it believes about who asked and how, and what it says to a name that is not its own."""

import http.client
import json
import re
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from email.message import Message
from pathlib import Path
from urllib.parse import urlencode

import pytest

from studio.running import run
from tests.running.test_supervisor import wait_for
from tests.test_settings import settle, start

pytestmark = pytest.mark.once
SECURE = "https://yard.example"
# Loopback addresses are all this machine's own (RFC 1122, 3.2.1.3 (g)), so both can be the peer.
PROXY, STRANGER = "127.0.0.2", "127.0.0.3"
FORGED = {"X-Forwarded-For": "192.0.2.66, 192.0.2.7", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "evil.example"}
FORGED |= {"Forwarded": "for=192.0.2.8;proto=https;host=evil.example", "X-Forwarded-Port": "1"}
# Says what reaches an application, instead of answering as the studio.
ECHO = """
import json
def echo(environ, start):
    names = ("REMOTE_ADDR", "wsgi.url_scheme", "HTTP_HOST")
    said = {name: environ[name] for name in names}
    said["forwarded"] = sorted(name for name in environ if "FORWARDED" in name)
    start("200 OK", [("Content-Type", "application/json")])
    return [json.dumps(said).encode()]
web.application = echo
"""
PASSWORD = "a lump of wet plaster"
STUDIO = "from django.core.management import call_command\ncall_command('migrate', verbosity=0)"


@contextmanager
def serving(data: Path, *, code: str = "", **given: str) -> Iterator[int]:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        port = int(door.getsockname()[1])
    process = start(f"from studio.running import web\n{code}\nweb.serve('127.0.0.1', {port})", data, **given)
    try:
        assert wait_for(lambda: _listens(port) or process.poll() is not None, 30)
        assert process.poll() is None, settle(process)
        yield port
    finally:
        process.terminate()
        settle(process)


def _listens(port: int) -> bool:
    with socket.socket() as line:
        return line.connect_ex(("127.0.0.1", port)) == 0


def ask(
    port: int,
    address: str = "/sign-in/",
    peer: str = STRANGER,
    host: str = "yard.example",
    form: Mapping[str, str] | None = None,
    headers: Mapping[str, str] | None = None,
) -> tuple[int, Message, bytes]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10, source_address=(peer, 0))
    body, kind = None, {}
    if form is not None:
        body, kind = urlencode(form), {"Content-Type": "application/x-www-form-urlencoded"}
    try:
        line.request("POST" if body else "GET", address, body, {"Host": host, **kind, **(headers or {})})
        answer = line.getresponse()
        return answer.status, answer.headers, answer.read()
    finally:
        line.close()


def told(port: int, peer: str) -> dict[str, object]:
    return dict(json.loads(ask(port, peer=peer, headers=FORGED)[2]))


@pytest.mark.parametrize("proxy", [PROXY, "*"])
def test_the_proxy_is_believed_in_two_things(tmp_path: Path, proxy: str) -> None:
    with serving(tmp_path, code=ECHO, STUDIO_PROXY=proxy) as port:
        assert told(port, PROXY) == {
            "REMOTE_ADDR": "192.0.2.7",  # what the proxy added, not what it was told itself
            "wsgi.url_scheme": "https",
            "HTTP_HOST": "yard.example",
            "forwarded": ["HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO"],
        }


def test_a_stranger_is_believed_in_nothing(tmp_path: Path) -> None:
    plain = {"REMOTE_ADDR": STRANGER, "wsgi.url_scheme": "http", "HTTP_HOST": "yard.example"}
    with serving(tmp_path, code=ECHO, STUDIO_PROXY=PROXY) as port:
        assert told(port, STRANGER) == {**plain, "forwarded": []}
    with serving(tmp_path, code=ECHO) as port:  # that somebody forwards can be seen, and changes nothing
        said = told(port, STRANGER)
        assert said.pop("forwarded") == sorted(f"HTTP_{name.upper().replace('-', '_')}" for name in FORGED)
        assert said == plain


def test_a_name_that_is_not_ours_gets_our_own_page(tmp_path: Path) -> None:
    ours = {"STUDIO_ADDRESS": "http://yard.example", "STUDIO_HOSTS": "bench.example"}
    with serving(tmp_path, code=STUDIO, **ours) as port:
        for host in ("evil.example", "yard.example.evil.example", "a.yard.example", "yard.example:x", "127.0.0.1"):
            status, headers, body = ask(port, host=host, headers={"X-Forwarded-Host": "yard.example"})
            assert (status, b"That could not be read" in body) == (400, True), host
            assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
            assert host.encode() not in body
        for host in ("yard.example", "BENCH.example", "yard.example:8000"):
            assert ask(port, host=host)[0] == 200


def test_an_https_address_without_its_proxy_is_a_sentence(tmp_path: Path) -> None:
    code = "import runpy, sys; sys.argv = ['web', '127.0.0.1', '0']; runpy.run_module('studio.running.web', run_name='__main__')"
    exit_code, _, said = settle(start(code, tmp_path, STUDIO_ADDRESS=SECURE))
    assert exit_code == 1
    assert said.startswith("STUDIO_PROXY: ")
    assert len(said.splitlines()) == 1


# by https and by http


def cookies_of(headers: Message) -> dict[str, set[str]]:
    """By name what is said of each, its value and its age aside."""
    found = {}
    for cookie in headers.get_all("Set-Cookie", []):
        first, *rest = cookie.split("; ")
        found[first.partition("=")[0]] = {word for word in rest if not word.lower().startswith(("expires", "max-age"))}
    return found


def come_in(port: int, origin: str, forwarded: dict[str, str]) -> dict[str, set[str]]:
    """Signs in and sets the light, and tells all cookies."""
    _, headers, body = ask(port, peer=PROXY, headers=forwarded)
    found = cookies_of(headers)
    csrf = headers["Set-Cookie"].partition(";")[0]
    secret = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', body.decode())
    assert secret
    fields = {"csrfmiddlewaretoken": secret[1], "email": "ada@bodkinyard.example", "password": PASSWORD, "light": "day"}
    for address in ("/light/", "/sign-in/"):
        status, headers, _ = ask(
            port, address, PROXY, form=fields, headers={**forwarded, "Cookie": csrf, "Origin": origin}
        )
        assert status == 302, address
        found |= cookies_of(headers)
    return found


ADA = f"""{STUDIO}
from studio.workshop.models import Person
ada = Person(name="Ada", email="ada@bodkinyard.example")
ada.set_password("{PASSWORD}")
ada.save()
"""


def test_by_https_each_cookie_is_for_https_and_this_host_only(tmp_path: Path) -> None:
    """RFC 6265bis, 4.1.3.2: __Host- is taken only with Secure, with Path=/ and without Domain."""
    flags = {"HttpOnly", "Path=/", "SameSite=Lax", "Secure"}
    with serving(tmp_path, code=ADA, STUDIO_ADDRESS=SECURE, STUDIO_PROXY=PROXY) as port:
        found = come_in(port, SECURE, {"X-Forwarded-Proto": "https"})
    assert found == dict.fromkeys(("__Host-csrftoken", "__Host-sessionid", "light", "__Host-browser"), flags)


def test_by_http_the_same_but_for_https(tmp_path: Path) -> None:
    flags = {"HttpOnly", "Path=/", "SameSite=Lax"}
    with serving(tmp_path, code=ADA, STUDIO_ADDRESS="http://yard.example") as port:
        found = come_in(port, "http://yard.example", {})
    assert found == dict.fromkeys(("csrftoken", "sessionid", "light", "browser"), flags)


def test_an_https_studio_sends_everybody_on_but_who_watches_it(tmp_path: Path) -> None:
    with serving(tmp_path, code=STUDIO, STUDIO_ADDRESS=SECURE, STUDIO_PROXY=PROXY) as port:
        for address in ("/sign-in/", "/static/natch.svg", "/with/healthz/", "/robots.txt/"):
            for forwarded in ({}, {"X-Forwarded-Proto": "https"}):  # from a stranger it changes nothing
                status, headers, _ = ask(port, address, headers=forwarded)
                assert (status, headers["Location"]) == (301, f"{SECURE}{address}")
        for address in ("/healthz", "/metrics", "/robots.txt"):
            assert ask(port, address)[0] != 301
        assert run._answers("127.0.0.1", port, SECURE)  # else `up` would never be ready
        _, headers, _ = ask(port, peer=PROXY, headers={"X-Forwarded-Proto": "https"})
        assert headers["Strict-Transport-Security"] == f"max-age={60 * 60 * 24 * 30}"
