"""One run of the studio, from the first check to the last child's end. Knows no Django: the record comes as callables."""

import http.client
import os
import shutil
import socket
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from studio.running import broker, folder, place, programs, watch
from studio.running.supervisor import GiveUp, Hook, Supervisor

ROOT = Path(__file__).resolve().parent.parent.parent
WEB_TRIES = 3


@dataclass(frozen=True)
class Wishes:
    """What was asked for on the command line and in the environment."""

    data: Path
    host: str
    port: int
    ready_file: Path | None
    broker: str
    given_broker: str
    given_address: str


@dataclass(frozen=True)
class Record:
    """What this run needs of the record.

    ``prepare(open_to_network)`` migrates and fills it, and raises GiveUp where it may not be opened; ``tell(broker_url, address)``
    says where this process publishes and what address stands in the letters of the demo. The rest is asked while the run lasts.
    """

    prepare: Callable[[bool], None]
    tell: Callable[[str, str], None]
    openers: Callable[[str], Mapping[str, str]]
    free_dead: Callable[[], object]
    deaf: Callable[[], bool]
    overdue: Callable[[], Iterable[int]]


def run(wishes: Wishes, record: Record, say: Callable[[str], object]) -> None:
    """Returns after Ctrl-C or SIGTERM. Raises GiveUp with the reason where it cannot run."""
    with place.lock(wishes.data) as lock:
        port = place.free_port(wishes.host, wishes.port)
        if wishes.ready_file:
            place.clear_ready_file(wishes.ready_file)
        nudges = wishes.data / "broker"
        broker.empty(nudges)
        with Supervisor(cwd=ROOT, held=[lock], after_end=record.free_dead) as supervisor:
            chosen = _start_broker(wishes, nudges, supervisor, say)
            try:
                address = wishes.given_address.rstrip("/") or place.address(wishes.host, port)
                record.tell(chosen.url, address)
                record.prepare(not place.is_private(wishes.host))
                _start_rest(wishes, port, address, chosen, supervisor, record, say)
            finally:
                if wishes.ready_file:
                    wishes.ready_file.unlink(missing_ok=True)
                if chosen.socket and chosen.socket.parent != nudges:
                    shutil.rmtree(chosen.socket.parent, ignore_errors=True)


def _start_broker(wishes: Wishes, nudges: Path, supervisor: Supervisor, say: Callable[[str], object]) -> broker.Broker:
    runtime = Path(os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir())
    chosen = broker.choose(wishes.broker, given_url=wishes.given_broker, place=nudges, runtime=runtime)
    if chosen.server and chosen.socket:
        supervisor.add(chosen.server)
        if not broker.answers(chosen.socket, seconds=5):
            if wishes.broker == "redis":
                raise GiveUp(f"{chosen.server.command[0]} was started and does not answer. Try --broker folder.")
            supervisor.remove(chosen.server.name)
            chosen = broker.Broker(folder.address(nudges), word=broker.NO_REDIS)
    word = broker.silent(chosen.url) if chosen.url == wishes.given_broker else chosen.word
    if word:
        say(word)
    return chosen


def _start_rest(
    wishes: Wishes,
    port: int,
    address: str,
    chosen: broker.Broker,
    supervisor: Supervisor,
    record: Record,
    say: Callable[[str], object],
) -> None:
    hosts = [os.environ.get("STUDIO_HOSTS", ""), "localhost", "127.0.0.1"]
    if not place.is_private(wishes.host):
        hosts += [socket.gethostname(), f"{socket.gethostname()}.local"]
    environment = {
        "STUDIO_DATA": str(wishes.data),
        "STUDIO_BROKER_URL": chosen.url,
        "STUDIO_ADDRESS": address,
        "STUDIO_HOSTS": ",".join(filter(None, hosts)),
        "PYTHONUNBUFFERED": "1",
    }
    workers = programs.workers(chosen, environment)
    beat = programs.beat(wishes.data / "broker", environment)
    # The web first: it is what somebody waits for.
    for program in (programs.web(wishes.host, port, wishes.data / "arriving", environment), *workers, beat):
        supervisor.add(program)

    def ready() -> bool:
        if not _answers(place.near_host(wishes.host), port, address):
            if supervisor.restarts("web") >= WEB_TRIES:
                raise GiveUp("The web server does not start. The lines above that begin with web say why.")
            return True
        addresses = record.openers(address)
        say(f"\nThe studio runs at {address}")
        for who in ("lead", "maker", "client"):
            if addresses.get(who):
                say(f"  {who:<7} {addresses[who]}")
        say(f"  data    {wishes.data}\nCtrl-C stops it.\n")
        if wishes.ready_file:
            content = {who: addresses.get(who, "") for who in ("lead", "maker", "client")}
            place.write_ready_file(wishes.ready_file, {"url": address, **content, "data": str(wishes.data)})
        return False

    names = [program.name for program in workers]
    watching = watch.hook(supervisor, names, deaf=record.deaf, overdue=record.overdue)
    supervisor.run([Hook(0.1, ready), watching])


def _answers(host: str, port: int, address: str) -> bool:
    line = http.client.HTTPConnection(host, port, timeout=5)
    try:
        line.request("GET", "/robots.txt", headers={"Host": urlsplit(address).netloc})
        return line.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        line.close()
