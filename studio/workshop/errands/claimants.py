"""Which process has an errand: host, number and time of birth, so that one that is gone is told from a later one that got
its number."""

import os
import socket
from pathlib import Path


def birth(pid: int) -> str:
    """When a process began, as the kernel counts it: tells a process from a later one that got its number."""
    if Path("/proc/self/stat").exists():
        try:
            state, *rest = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return "gone"
        return "gone" if state == "Z" else rest[18]
    try:
        os.kill(pid, 0)
    except OSError:
        return "gone"
    return "alive"


def me() -> str:
    return f"{socket.gethostname()}:{os.getpid()}:{birth(os.getpid())}"


def is_gone(claimant: str) -> bool:
    """Whether a claimant of this machine has ended; of another machine nobody here knows."""
    host, pid, born = claimant.rsplit(":", 2)
    return host == socket.gethostname() and birth(int(pid)) != born
