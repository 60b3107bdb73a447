from collections.abc import Iterator
from pathlib import Path
from threading import Thread

import pytest
import waitress
from django.db import connections
from django.test import Client
from pytest_django import Settings

from studio.running import web
from studio.workshop import actions
from studio.wsgi import application

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def site(settings: Settings) -> Client:
    """Somebody who is not signed in, on a site with a few broken pages. What breaks is answered, not raised."""
    settings.ROOT_URLCONF = "tests.front.pages"
    return Client(raise_request_exception=False)


@pytest.fixture
def url(monkeypatch: pytest.MonkeyPatch, published: list[str]) -> Iterator[str]:
    """Where the real web server answers, with a studio set out and a database that a browser test may write."""
    actions.set_out_studio()
    for alias in ("default", "portal"):  # a connection that lives on would hold the test's database
        monkeypatch.setitem(connections.settings[alias], "CONN_MAX_AGE", 0)
    server = waitress.create_server(application, host="127.0.0.1", port=0, threads=4, **web.proxy())
    thread = Thread(target=server.run)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}"
    server.trigger.pull_trigger(lambda: server.asyncore.close_all(server._map))  # its own thread must do it
    thread.join(timeout=10)
    server.task_dispatcher.shutdown()
