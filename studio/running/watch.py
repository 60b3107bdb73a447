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
    deaf_from = 0.0

    def look() -> bool:
        nonlocal deaf_from
        for pid in overdue():
            supervisor.kill(pid, "an errand ran past its time limit")
        if clock() >= deaf_from and deaf():
            deaf_from = clock() + HEARS_AGAIN_S
            for name in workers:
                supervisor.restart(name, "errands have been due for a minute and none was taken")
        return True

    return Hook(EVERY_S, look)
