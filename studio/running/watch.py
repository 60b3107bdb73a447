"""What the supervisor looks after every ten seconds: workers that have gone deaf, and work that does not end."""

import time
from collections.abc import Callable, Iterable, Sequence

from studio.running.supervisor import Hook, Supervisor

EVERY_S = 10.0
HEARS_AGAIN_S = 90.0  # a restarted worker needs a while before it can have claimed anything


def hook(
    supervisor: Supervisor,
    workers: Sequence[str],
    *,
    deaf: Callable[[], bool],
    overdue: Callable[[], Iterable[int]],
    clock: Callable[[], float] = time.monotonic,
) -> Hook:
    """``deaf`` says whether errands are due that no worker takes; ``overdue`` gives the pids that work too long.

    Of those, only the children themselves are killed: a pool's processes are its own to stop.
    """
    deaf_from, broker_restarts = clock() + HEARS_AGAIN_S, 0

    def restart(reason: str) -> None:
        nonlocal deaf_from
        deaf_from = clock() + HEARS_AGAIN_S
        for name in workers:
            supervisor.restart(name, reason)

    def look() -> bool:
        nonlocal broker_restarts
        for pid in overdue():
            supervisor.kill(pid, "an errand ran past its time limit")
        if (restarts := supervisor.restarts("broker")) > broker_restarts:
            broker_restarts = restarts
            # Measured: after a broker was killed, a worker now and then takes nothing more until it is started anew.
            restart("the broker came back, and a worker may not have noticed")
        elif clock() >= deaf_from and deaf():
            restart("errands have been due for a minute and none was taken")
        return True

    return Hook(EVERY_S, look)
