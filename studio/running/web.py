"""The web server as a process of its own: ``python -m studio.running.web HOST PORT``."""

import signal
import sys

import waitress

from studio import env
from studio.wsgi import application

LARGEST_BODY_BYTES = 300_000_000  # several photos in one form, each up to 60 MB


def serve(host: str, port: int) -> None:
    # Raised in the main loop, it lets the requests that are being answered end.
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(0))
    proxy = {}
    if env.flag("BEHIND_PROXY"):
        proxy = {"trusted_proxy": "*", "trusted_proxy_headers": {"x-forwarded-proto"}}
    waitress.serve(
        application,
        host=host,
        port=port,
        threads=8,
        max_request_body_size=LARGEST_BODY_BYTES,
        channel_timeout=120,  # a slow phone may pause between two pieces
        asyncore_use_poll=True,
        ident=None,
        **proxy,
    )


if __name__ == "__main__":
    serve(sys.argv[1], int(sys.argv[2]))
