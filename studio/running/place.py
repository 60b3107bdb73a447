"""Where the studio runs: its data folder, its port, the address that people type, and the ready file."""

import fcntl
import json
import os
import secrets
import socket
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from ipaddress import ip_address
from pathlib import Path

from studio.running.supervisor import GiveUp

LOCK_WAIT_S = (
    3.0  # a little longer than the minder waits: so long may the children of a run that was killed take to be gone
)


@contextmanager
def lock(data: Path, chosen_by: str = "--data") -> Iterator[int]:
    """Nobody else runs on this data folder. Gives the open file that is the lock; raises GiveUp."""
    path = data / "up.lock"
    try:
        file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise GiveUp(f"{path} cannot be written ({error.strerror}). Choose a data folder that is yours.") from None
    try:
        until = time.monotonic() + LOCK_WAIT_S
        while True:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise GiveUp(
                        f"The studio runs already on {data}. Stop it where it runs (Ctrl-C), "
                        f"or choose another folder with {chosen_by}."
                    ) from None
                time.sleep(0.1)
        yield file
    finally:
        os.close(file)


def free_port(host: str, port: int) -> int:
    """The port itself where it is free, a free one for 0. Raises GiveUp."""
    try:
        family, kind, _, _, where = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind) as door:
            door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            door.bind(where)
            return int(door.getsockname()[1])
    except PermissionError:
        raise GiveUp(f"Port {port} is kept for the system. Choose one above 1023, such as --port 8000.") from None
    except socket.gaierror:
        raise GiveUp(f"{host} is no address of this machine. Leave --host out, or write 0.0.0.0.") from None
    except OSError as error:
        if error.errno == 98 or "in use" in str(error):
            raise GiveUp(f"Port {port} is in use. Choose another, for example: --port {min(port + 1, 65535)}") from None
        raise GiveUp(f"{host} cannot be listened on ({error.strerror}). Leave --host out, or write 0.0.0.0.") from None


def is_private(host: str) -> bool:
    """Whether only this machine can reach it."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def address(host: str, port: int) -> str:
    """What to type into a browser; for "all addresses" the one by which the workshop's network knows this machine."""
    try:
        if ip_address(host).is_unspecified:
            host = _own_address()
        if ip_address(host).version == 6:
            host = f"[{host}]"
    except ValueError:
        pass  # a name
    return f"http://{host}:{port}"


def _own_address() -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        try:
            # Nothing is sent: the system only chooses the way out. The address is kept for documentation (RFC 5737).
            line.connect(("192.0.2.1", 9))
            return str(line.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def near_host(host: str) -> str:
    """Where this machine itself reaches a server that listens on ``host``."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104


def clear_ready_file(path: Path) -> None:
    """None stands there from an earlier run, and one can be written. Raises GiveUp."""
    try:
        path.unlink(missing_ok=True)
        with tempfile.TemporaryFile(dir=path.parent):
            pass
    except OSError as error:
        raise _no_ready_file(path, error) from None


def write_ready_file(path: Path, content: Mapping[str, str]) -> None:
    """Whole or not at all, and for the owner's eyes only: the addresses in it open straight in."""
    draft = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        file = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(file, "w", encoding="utf-8") as stream:
            json.dump(content, stream, indent=2)
        draft.replace(path)
    except OSError as error:
        raise _no_ready_file(path, error) from None


def _no_ready_file(path: Path, error: OSError) -> GiveUp:
    return GiveUp(f"{path} cannot be written ({error.strerror}). Choose another place for --ready-file.")
