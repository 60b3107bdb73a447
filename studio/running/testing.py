"""`manage.py test`: pytest on SQLite, and once more on PostgreSQL where a server is named."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
SERVER = "STUDIO_TEST_DATABASE_URL"
NOTHING_COLLECTED = 5  # pytest's own exit code


def run(arguments: Sequence[str]) -> int:
    """Hands what follows ``--`` to pytest. Returns the worse exit code of the runs."""
    chosen = list(arguments)
    if chosen[:1] == ["--"]:
        del chosen[0]
    server = os.environ.get(SERVER, "")
    required = os.environ.get("STUDIO_REQUIRE_SERVICES") == "1"
    if not server:
        print(f"On SQLite only: no PostgreSQL server is named in {SERVER}.", flush=True)
    sqlite = _pytest(chosen, "")
    if not server:
        return sqlite or int(required)
    print("\nOnce more on PostgreSQL, without what never touches the database.", flush=True)
    postgresql = _pytest(["-m", "not once", *chosen], server)
    # Asked for a few tests, all of them may be among those that one run is enough for.
    return max(sqlite, 0 if postgresql == NOTHING_COLLECTED else postgresql)


def _pytest(arguments: list[str], database_url: str) -> int:
    """In a data folder of its own, whatever the caller's environment says, so that no real data is touched."""
    unwanted = {"STUDIO_DATABASE_URL", "STUDIO_BROKER_URL"}
    environment = {name: value for name, value in os.environ.items() if name not in unwanted}
    with tempfile.TemporaryDirectory(prefix="natch-test-") as folder:
        environment["STUDIO_DATA"] = folder
        if database_url:
            environment["STUDIO_DATABASE_URL"] = database_url
        command = [sys.executable, "-m", "pytest", *arguments]
        return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode
