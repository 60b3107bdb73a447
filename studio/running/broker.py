"""Chooses the broker: the one that is given, else a private Redis, else a folder. Never somebody else's Redis."""

import shutil
import socket
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from kombu import Connection

from studio.running import folder
from studio.running.child import Program
from studio.running.supervisor import GiveUp

SERVERS = ("valkey-server", "redis-server")
LONGEST_SOCKET_PATH = 107  # bytes; the kernel's 108 (Linux, unix(7): sun_path) less the closing zero
NO_REDIS = (
    "No Redis here, so the errands are passed on through a folder. That is enough for one machine; "
    "for more, install Redis (Debian and Ubuntu: sudo apt install redis-server) and start again."
)
SOON_S = 3
SILENT = (
    "The broker of STUDIO_BROKER_URL does not answer ({address}: {why}). "
    "Photos and letters are kept and wait until it does: start it, or leave the variable out."
)


@dataclass(frozen=True)
class Broker:
    """Where nudges go. ``server`` is to be started first; ``socket`` is where it will answer; ``word`` is printed."""

    url: str
    server: Program | None = None
    socket: Path | None = None
    word: str = ""

    @property
    def is_folder(self) -> bool:
        return self.url.startswith(f"{folder.SCHEME}:")


def choose(
    kind: str, *, given_url: str, place: Path, runtime: Path, which: Callable[[str], str | None] = shutil.which
) -> Broker:
    """``kind`` is auto, redis or folder. ``place`` is the broker's folder, ``runtime`` one with a short path.

    Raises GiveUp.
    """
    if kind == "auto" and given_url:
        return Broker(given_url)
    if kind == "folder":
        return Broker(folder.address(place))
    program = next(filter(None, map(which, SERVERS)), None)
    if program:
        return _private_redis(program, place, runtime)
    if kind == "redis":
        raise GiveUp(
            "No Redis was found. Install it (Debian and Ubuntu: sudo apt install redis-server), or leave --broker out."
        )
    return Broker(folder.address(place), word=NO_REDIS)


def _private_redis(program: str, place: Path, runtime: Path) -> Broker:
    path = socket_path(place, runtime)
    command = [program, "--port", "0", "--unixsocket", str(path), "--unixsocketperm", "700", "--dir", str(place)]
    command += ["--appendonly", "yes", "--appendfsync", "everysec", "--save", "", "--maxmemory-policy", "noeviction"]
    command += ["--daemonize", "no", "--loglevel", "warning"]
    url = f"redis+socket://{quote(str(path))}"
    return Broker(url, Program("broker", tuple(command)), path)


def socket_path(place: Path, runtime: Path) -> Path:
    """In the broker's own folder where the path is short enough, else in a new private folder under ``runtime``."""
    path = place / "redis.sock"
    if len(str(path).encode()) <= LONGEST_SOCKET_PATH:
        return path
    return Path(tempfile.mkdtemp(prefix="natch-", dir=runtime)) / "redis.sock"


def empty(place: Path) -> None:
    """Nudges are hints and the rows are the truth, so what an earlier run left is thrown away, broken or not."""
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(mode=0o700, parents=True, exist_ok=True)


def silent(url: str) -> str:
    """A sentence where nobody answers behind this address, without the password that may be in it; else nothing."""
    patience = ("socket_timeout", "socket_connect_timeout") if url.startswith("redis") else ("read_timeout",)
    with Connection(url, connect_timeout=SOON_S, transport_options=dict.fromkeys(patience, SOON_S)) as line:
        try:
            line.ensure_connection(max_retries=1, interval_start=0, timeout=SOON_S)
        except Exception as error:  # whatever its library raises
            return SILENT.format(address=line.as_uri(), why=str(error.__cause__ or error).rstrip("."))
    return ""


def answers(path: Path, seconds: float) -> bool:
    """Whether the Redis behind this socket says PONG within so many seconds."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            with socket.socket(socket.AF_UNIX) as line:
                line.settimeout(1)
                line.connect(str(path))
                line.sendall(b"PING\r\n")
                if line.recv(16).startswith(b"+PONG"):
                    return True
        except OSError:
            pass
        time.sleep(0.02)
    return False
