"""The web server as a process: whom it believes about who asked and how, and what it says to a name that is not its own."""

import http.client
import json
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pytest

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
    port: int, address: str = "/sign-in/", peer: str = STRANGER, host: str = "yard.example", **headers: str
) -> tuple[int, Mapping[str, str], bytes]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10, source_address=(peer, 0))
    try:
        line.request("GET", address, headers={"Host": host, **headers})
        answer = line.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()
    finally:
        line.close()


def told(port: int, peer: str) -> dict[str, object]:
    return dict(json.loads(ask(port, peer=peer, **FORGED)[2]))


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
            status, headers, body = ask(port, host=host, **{"X-Forwarded-Host": "yard.example"})
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
