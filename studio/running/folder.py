"""A broker that is a folder: for a machine without Redis. One file a message, one folder a queue.

A message is written under another name and renamed, so that none is seen before it is whole; who manages to unlink
it has it. A queue is found by the routing key alone: there is no table of exchanges that a killed process could
leave empty, and an emptied folder stops nobody. A message may be lost with the process that took it; messages are
only hints here.
"""

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Empty
from typing import Any, ClassVar
from urllib.parse import quote
from uuid import uuid4

from kombu.exceptions import ChannelError
from kombu.transport import TRANSPORT_ALIASES, virtual
from kombu.utils.json import dumps, loads
from kombu.utils.scheduling import FairCycle

SCHEME = "folder"


def register() -> None:
    """Makes ``folder://`` known to kombu, and so to Celery."""
    TRANSPORT_ALIASES[SCHEME] = "studio.running.folder:Transport"


def address(folder: Path) -> str:
    """The broker address of an absolute folder."""
    return f"{SCHEME}://{quote(folder.as_posix())}"


class InOrder(FairCycle):
    """Asks the queues in the order in which they were named, so that a letter never waits behind the photos."""

    def get(self, callback: Callable[..., Any] | None, **kwargs: Any) -> Any:
        self.pos = 0
        return super().get(callback, **kwargs)


class Channel(virtual.Channel):
    supports_fanout = False

    @property
    def _folder(self) -> Path:
        client = self.connection.client
        return Path("/") / ((client and client.virtual_host) or "")

    def _queue_folder(self, queue: str) -> Path:
        # The name becomes part of a path: nothing in it may lead elsewhere.
        if not re.fullmatch(r"\w[\w.@-]*", queue, re.ASCII):
            raise ChannelError(f"{queue!r} cannot be the name of a queue.")
        return self._folder / queue

    def _waiting(self, queue: str) -> Iterator[Path]:
        """Oldest first."""
        yield from sorted(self._queue_folder(queue).glob("[0-9]*.msg"))

    def _lookup(self, exchange: str, routing_key: str, default: str | None = None) -> list[str]:
        return [routing_key]

    def _put(self, queue: str, message: dict[str, Any], **kwargs: Any) -> None:
        name = f"{time.time_ns():020d}-{uuid4().hex}.msg"
        folder = self._queue_folder(queue)
        draft = folder / f".{name}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            draft.write_text(dumps(message), encoding="utf-8")
            draft.rename(folder / name)
        except OSError as error:
            raise ChannelError(f"The message could not be put into {folder} ({error.strerror}).") from error

    def _get(self, queue: str, timeout: float | None = None) -> dict[str, Any]:
        for path in self._waiting(queue):
            try:
                text = path.read_text(encoding="utf-8")
                path.unlink()
                return dict(loads(text))
            except OSError:
                continue  # another worker has it
            except (ValueError, TypeError):
                continue  # a power cut may leave an empty file, which is no message
        raise Empty

    def _size(self, queue: str) -> int:
        return sum(1 for _ in self._waiting(queue))

    def _purge(self, queue: str) -> int:
        waiting = list(self._waiting(queue))
        for path in waiting:
            path.unlink(missing_ok=True)
        return len(waiting)

    def _delete(self, queue: str, *args: Any, **kwargs: Any) -> None:
        self._purge(queue)

    def _reset_cycle(self) -> None:
        self._cycle = InOrder(self._get_and_deliver, self._active_queues, Empty)


class Transport(virtual.Transport):
    """Celery leaves out its remote control here, which would need messages to all."""

    Channel = Channel
    polling_interval = 0.1
    driver_type = SCHEME
    driver_name = SCHEME
    default_connection_params: ClassVar[dict[str, Any]] = {}  # no host and no port, and no warning that there is none
    implements = virtual.Transport.implements.extend(asynchronous=False, exchange_type=frozenset(["direct"]))

    def driver_version(self) -> str:
        return "1"
