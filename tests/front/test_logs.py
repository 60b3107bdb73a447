import io
import logging
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from studio.front.logs import LineFormatter, TokenFilter

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
        ("%(path)s went", ({"path": f"/open/{TOKEN}"},)),
        ("opened %s", (ValueError(f"'/open/{TOKEN}'"),)),
        ("to %s", (f"/sign-in/?next=%2Fwith%2F{TOKEN}%2F",)),
        ("to %s", (f"https://yard.example/with/{TOKEN}/?a=b",)),
        ("too few %s %s", (f"/with/{TOKEN}/",)),
    ],
)
def test_tokens_are_cut_from_messages(log: io.StringIO, message: str, args: tuple[object, ...]) -> None:
    logging.getLogger("some.where").warning(message, *args)
    assert "some.where" in log.getvalue()
    assert TOKEN not in log.getvalue()
    assert TOKEN.split(".")[1] not in log.getvalue()


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
