import io
import logging
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from studio.logs import LineFormatter, TokenFilter, cut
from studio.workshop import duties, tasks
from studio.workshop.models import Errand, Kind
from tests import builders

TOKEN = "k3m9q2xw7a.AbCd-EfGh_IjKlMnOpQrStUv"


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """What the handlers of the settings would write."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.addFilter(TokenFilter())
    handler.setFormatter(LineFormatter())
    root = logging.getLogger()
    root.addHandler(handler)
    yield out
    root.removeHandler(handler)


@pytest.mark.once
@pytest.mark.parametrize(
    ("message", "args"),
    [
        (f"Not Found: /with/{TOKEN}/", ()),
        ("Not Found: %s", (f"/with/{TOKEN}/photo.jpg",)),
        ("%s went", (f"/letterbox/come-in/{TOKEN}/",)),
        ("%s went", (f"/sign-in/?next=%2Fletterbox%2Fstop%2F{TOKEN}%2F",)),
        ("%(path)s went", ({"path": f"/open/{TOKEN}"},)),
        ("opened %s", (ValueError(f"'/open/{TOKEN}'"),)),
        ("to %s", (f"/sign-in/?next=%2Fwith%2F{TOKEN}%2F",)),
        ("to %s", (f"https://yard.example/with/{TOKEN}/?a=b",)),
        ("to %s", (f"/sign-in/?next=%252Fwith%252F{TOKEN}%252F",)),
        ("to %s", (f"/open/3%3A{TOKEN}",)),
        ("Not Found: %s", (f"/wiht/{TOKEN}/",)),
        ("too few %s %s", (f"/with/{TOKEN}/",)),
    ],
)
def test_tokens_are_cut_from_messages(log: io.StringIO, message: str, args: tuple[object, ...]) -> None:
    logging.getLogger("some.where").warning(message, *args)
    assert "some.where" in log.getvalue()
    assert TOKEN not in log.getvalue()
    assert TOKEN.split(".")[1] not in log.getvalue()


@pytest.mark.once
@pytest.mark.parametrize("word", ["come-in", "stop"])
def test_tokens_of_the_letterbox_are_cut(log: io.StringIO, word: str) -> None:
    for path in (f"/letterbox/{word}/{TOKEN}/", f"/sign-in/?next=%2Fletterbox%2F{word}%2F{TOKEN}%2F"):
        logging.getLogger("some.where").warning("Not Found: %s", path)
    assert TOKEN not in log.getvalue()
    assert log.getvalue().count("…") == 2


@pytest.mark.once
@pytest.mark.parametrize(
    "message",
    [
        "550 no such mailbox: <priya@theatre.example>",
        "{'priya@theatre.example': (550, b'5.1.1')}",
        "/sign-in/?email=priya%40theatre.example&a=b",
    ],
)
def test_addresses_of_people_are_cut(log: io.StringIO, message: str) -> None:
    logging.getLogger("some.where").warning(message)
    assert "priya" not in log.getvalue()
    assert "theatre" not in log.getvalue()


@pytest.mark.once
@pytest.mark.parametrize("piece", ["a", "a.", "%", "@", "/with/", "a@", "%4"])
def test_a_line_as_long_as_a_header_may_be_is_cut_at_once(piece: str) -> None:
    """Or anybody could keep the web busy with one address. waitress takes 256 kB of headers."""
    began = time.perf_counter()
    cut("/" + piece * (256_000 // len(piece)))
    assert time.perf_counter() - began < 10  # it was minutes


@pytest.mark.once
def test_a_value_that_cannot_be_told_does_not_break_what_logs_it(log: io.StringIO) -> None:
    class Odd:
        def __str__(self) -> str:
            raise RuntimeError

    logging.getLogger("some.where").warning("it was %s", Odd())
    assert "it was %s" in log.getvalue()


@pytest.mark.once
def test_a_worker_puts_no_handler_beside_ours() -> None:
    """In a process of its own, as a worker starts. Celery's would write what comes to them as it is."""
    code = (
        "import logging; from studio.celery import app; import django; django.setup(); app.log.setup('INFO', logfile=None);"
        "print([name for name, one in logging.root.manager.loggerDict.items() for handler in getattr(one, 'handlers', ())"
        " if not isinstance(handler, logging.NullHandler) and not handler.filters])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.django_db
def test_a_request_has_one_line_with_its_id_and_who_asked(site: Client, log: io.StringIO) -> None:
    ines = builders.lead()
    site.force_login(ines)
    response = site.get("/for-lead/?of=snail")
    (line,) = [line for line in log.getvalue().splitlines() if "/for-lead/" in line]
    said = re.search(
        r"INFO studio\.front\.requests request=([0-9a-f]{8}) person=(\d+): GET /for-lead/ 200 \d+ ms$", line
    )
    assert said is not None, line
    assert said.groups() == (response.headers["X-Request-Id"], str(ines.pk))


@pytest.mark.django_db
def test_what_is_refused_or_not_there_is_one_line_and_no_traceback(site: Client, log: io.StringIO) -> None:
    site.force_login(builders.person("Ada"))
    assert site.get("/for-lead/").status_code == 403
    assert site.get("/nowhere/").status_code == 404
    assert [line.split(": ", 1)[1].rsplit(" ", 2)[0] for line in log.getvalue().splitlines()] == [
        "GET /for-lead/ 403",
        "GET /nowhere/ 404",
    ]


@pytest.mark.once
def test_what_breaks_names_the_number_that_the_page_shows(site: Client, log: io.StringIO) -> None:
    response = site.get("/breaks/")
    number = response.headers["X-Request-Id"]
    assert f"and this number: {number}." in response.content.decode()
    (line,) = [line for line in log.getvalue().splitlines() if "RuntimeError" in line]
    assert f"request={number}" in line


@pytest.mark.once
def test_a_clients_page_costs_no_look_for_a_person(site: Client, log: io.StringIO) -> None:
    """No database mark: asking who it is would raise."""
    assert "X-Request-Id" not in site.get(f"/with/{TOKEN}/breaks/").headers
    assert " person=" not in log.getvalue()


@pytest.mark.django_db
def test_files_and_looks_at_health_have_no_line(site: Client, log: io.StringIO) -> None:
    site.get("/static/natch.svg").close()
    assert log.getvalue() == ""


@pytest.mark.django_db
def test_an_errand_that_fails_is_named_and_nobodys_address(log: io.StringIO, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*args: object) -> None:
        raise ValueError("cannot write to priya@theatre.example")

    builders.log_done(builders.stage(builders.job()))
    errand = Errand.objects.get(kind=Kind.DEVELOP_PHOTO)
    monkeypatch.setitem(duties.DUTIES, Kind.DEVELOP_PHOTO, duties.Duty(breaks, breaks))
    tasks.run_errand(str(errand.pk))
    (line,) = [line for line in log.getvalue().splitlines() if "ValueError" in line]
    assert f" errand={errand.pk}: " in line
    assert "priya" not in log.getvalue()


@pytest.mark.once
def test_a_traceback_stays_on_the_line_and_is_cut(log: io.StringIO) -> None:
    try:
        raise LookupError(f"no page at /with/{TOKEN}/")
    except LookupError:
        logging.getLogger("some.where").error("it failed", exc_info=sys.exc_info())
    assert log.getvalue().count("\n") == 1
    assert "LookupError: no page at /with/…/" in log.getvalue()


@pytest.mark.once
def test_the_rest_of_a_message_stays(log: io.StringIO) -> None:
    logging.getLogger("some.where").warning("photo %d of 100%% went to /within/reach and /media/abc.jpg", 7)
    assert log.getvalue().endswith("photo 7 of 100% went to /within/reach and /media/abc.jpg\n")


@pytest.mark.once
@pytest.mark.parametrize("address", [f"/with/{TOKEN}/", f"/with/{TOKEN}/breaks/", f"/with/{TOKEN}/form/"])
def test_no_token_is_logged_after_an_error(site: Client, log: io.StringIO, address: str) -> None:
    """A 404, a 500 and a form without its secret."""
    site.handler.enforce_csrf_checks = True
    assert site.post(address).status_code in {404, 500}
    assert "/with/…/" in log.getvalue()
    assert TOKEN not in log.getvalue()


@pytest.mark.once
def test_every_handler_of_the_settings_cuts() -> None:
    config: dict[str, Any] = settings.LOGGING
    assert config["handlers"]
    for handler in config["handlers"].values():
        assert "tokens" in handler["filters"]
        assert handler["formatter"] == "line"
