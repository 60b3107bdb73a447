"""Which programs make up the running studio."""

import sys
from collections.abc import Mapping
from pathlib import Path

from studio.running.broker import Broker
from studio.running.child import Program

BROKER, WORKERS, WEB = 0, 1, 2  # tiers: the web stops first, so that nothing new comes in
# Address space of a worker that no pool bounds. Measured on 64 megapixels, the most that may stand in memory whole, as
# PNG with alpha, WebP, HEIC, AVIF and progressive CMYK JPEG: the hungriest took 1.1 GiB. Twice that is a runaway.
SOLO_MEMORY_BYTES = 2560 * 1024 * 1024
# Of memory that threads take from; with one for each, what was used once is hardly ever given back (mallopt(3)).
FEW_ARENAS = {"MALLOC_ARENA_MAX": "2"}
QUIET = ("--without-gossip", "--without-mingle", "--without-heartbeat")
QUEUES = ("-Q", "letters,photos")  # in this order: a letter does not wait behind photos


# Celery warns root because of pickled messages; ours are JSON, and no other kind is accepted.
AS_ROOT = ("-W", "ignore:You're running the worker with superuser privileges")


def celery(*arguments: str) -> tuple[str, ...]:
    # Django's checks are for who builds, and would load each page into processes that show none.
    return (sys.executable, *AS_ROOT, "-m", "celery", "--quiet", "--skip-checks", "-A", "studio", *arguments)


def workers(broker: Broker, environment: Mapping[str, str]) -> list[Program]:
    """One pool on a real broker. On a folder, processes that share one queue go deaf when one is killed: two alone."""
    # Niced, so that a page for the bench does not wait for photos.
    shared = {**environment, **FEW_ARENAS}
    if broker.is_folder:
        return [
            Program(
                name,
                celery("worker", "--pool", "solo", "-n", f"{name}@%h", *QUEUES, *QUIET),
                shared,
                tier=WORKERS,
                nice=10,
                memory_bytes=SOLO_MEMORY_BYTES,
            )
            for name in ("worker-1", "worker-2")
        ]
    pool = celery("worker", "--pool", "prefork", "-c", "2", "-O", "fair", *QUEUES, *QUIET)
    pool += ("--max-tasks-per-child", "100", "--max-memory-per-child", "400000")
    return [Program("worker", pool, shared, tier=WORKERS, nice=10)]


def beat(place: Path, environment: Mapping[str, str]) -> Program:
    command = (sys.executable, "-m", "studio.running.beat", str(place / "beat"))
    return Program("beat", command, {**environment, **FEW_ARENAS}, tier=WORKERS)


def web(host: str, port: int, arriving: Path, environment: Mapping[str, str]) -> Program:
    command = (sys.executable, "-m", "studio.running.web", host, str(port))
    # Bodies that are still arriving lie in the data folder, not on whatever disk /tmp is.
    return Program("web", command, {**environment, **FEW_ARENAS, "TMPDIR": str(arriving)}, tier=WEB)
