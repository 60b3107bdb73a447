"""The web server as a process of its own: ``python -m studio.running.web HOST PORT``."""

import signal
import sys
from typing import Any

import waitress
from django.conf import settings

from studio import env
from studio.env import BadSetting
from studio.wsgi import application

LARGEST_BODY_BYTES = 300_000_000  # several photos in one form, each up to 60 MB


def proxy() -> dict[str, Any]:
    """Whom waitress believes about who asked, and whether by https. Of several proxies in a row, the last one alone."""
    if not settings.PROXY:
        return {"clear_untrusted_proxy_headers": False}  # nothing reads them; that they were there can be seen
    return {
        "trusted_proxy": settings.PROXY,
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }


def serve(host: str, port: int) -> None:
    env.check_proxy(settings.SECURE, settings.PROXY)
    # Raised in the main loop, it lets the requests that are being answered end.
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(0))
    waitress.serve(
        application,
        host=host,
        port=port,
        threads=8,
        connection_limit=1000,  # of those that say nothing; a hundred would be soon used up by anybody
        max_request_body_size=LARGEST_BODY_BYTES,
        channel_timeout=120,  # a slow phone may pause between two pieces
        asyncore_use_poll=True,
        ident=None,
        **proxy(),
    )


if __name__ == "__main__":
    try:
        serve(sys.argv[1], int(sys.argv[2]))
    except BadSetting as problem:
        sys.exit(str(problem))
