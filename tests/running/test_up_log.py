"""What stands in the log of a running studio after a walk through its pages, and what does not."""

import re
import signal
import sqlite3
from contextlib import closing
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, OpenerDirector, build_opener

import pytest

from tests.running.test_up import options, up

pytestmark = [pytest.mark.services, pytest.mark.once]
MOST_PAGES = 40


def fetch(visitor: OpenerDirector, address: str, form: bytes | None = None) -> str:
    try:
        with visitor.open(address, form, timeout=20) as answer:
            return str(answer.read().decode(errors="replace"))
    except HTTPError as refused:
        with refused:
            return ""


def walk(url: str, start: str) -> tuple[OpenerDirector, int]:
    """Along the links, as somebody who comes in by ``start``. Returns how many pages were opened."""
    visitor = build_opener(HTTPCookieProcessor(CookieJar()))
    to_open, seen = [start], {start}
    while to_open and len(seen) < MOST_PAGES:
        page = fetch(visitor, to_open.pop(0))
        for path in re.findall(r'href="(/[^"#?]*)"', page):
            if url + path not in seen and not path.startswith("/static/"):
                seen.add(url + path)
                to_open.append(url + path)
    return visitor, len(seen)


def test_it_names_nobody_and_opens_nothing(tmp_path: Path) -> None:
    with up(tmp_path, *options("folder")) as run:
        ready = run.wait()
        token = ready["client"].rstrip("/").rpartition("/")[2]
        for who in ("lead", "maker", "client"):
            visitor, pages = walk(ready["url"], ready[who])
            assert pages >= (2 if who == "client" else 10), who
            for path in (f"/wiht/{token}/", f"/with/{token}/x", f"/sign-in/?next=/with/{token}/", "/office/"):
                fetch(visitor, ready["url"] + path)
                fetch(visitor, ready["url"] + path, b"email=priya@wharfside.example&name=Priya")
        with closing(sqlite3.connect(run.data / "studio.sqlite3")) as rows:
            people = rows.execute(
                "SELECT name, email FROM workshop_person UNION SELECT name, email FROM workshop_contact"
            )
            named = {word for row in people for word in row if word}
        run.process.send_signal(signal.SIGINT)
        assert run.process.wait(timeout=30) == 0
        # What the children said; the addresses that `up` itself prints are for whoever sits before it.
        said = "\n".join(line for line in run.log.read_text().splitlines() if re.match(r"[\w-]+ +\| ", line))
    assert said.count(" request=") > 60
    assert "GET /with/…/ 200" in said
    tokens = {ready[who].rstrip("/").rpartition("/")[2] for who in ("lead", "maker", "client")}
    assert len(named) > 10
    assert [word for word in named | tokens if re.search(rf"\b{re.escape(word)}\b", said)] == []
