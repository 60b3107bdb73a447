"""Other processes on the test's own database, as web and workers are."""

import os
import subprocess
import sys
from pathlib import Path

from django.db import connection

ROOT = Path(__file__).resolve().parent.parent.parent
SETTING_UP = """
import os, sys, time
from pathlib import Path
import django
from django.conf import settings
for database in settings.DATABASES.values():
    database["NAME"] = sys.argv[1]
django.setup()
from django.db import transaction
from django.utils import timezone
from studio.workshop import errands
from studio.workshop.models import Errand, Kind
"""


def start(script: str, *arguments: str, data: Path, broker_url: str = "") -> "subprocess.Popen[str]":
    """Runs a script whose own arguments begin at ``sys.argv[2]``. Its broker is a folder in ``data`` unless one is given."""
    environment = {**os.environ, "STUDIO_DATA": str(data), "STUDIO_BROKER_URL": broker_url}
    command = [sys.executable, "-c", SETTING_UP + script, str(connection.settings_dict["NAME"]), *arguments]
    return subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True)


def said(process: "subprocess.Popen[str]") -> str:
    """All that it says until it has ended well."""
    output, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    return output.strip()


def manage(*words: str, data: Path, database_url: str = "", **settings: str) -> "subprocess.CompletedProcess[str]":
    """A command as somebody types it, in a data folder of its own."""
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *words],
        env=_elsewhere(data, database_url) | settings,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def start_in(script: str, *arguments: str, data: Path, database_url: str = "") -> "subprocess.Popen[str]":
    """As ``start``, on the database of a data folder of its own."""
    command = [sys.executable, "-c", f"import django; django.setup()\n{script}", *arguments]
    environment = _elsewhere(data, database_url)
    return subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True)


def _elsewhere(data: Path, database_url: str) -> dict[str, str]:
    ours = {name: value for name, value in os.environ.items() if not name.startswith("STUDIO_")}
    named = {"STUDIO_NO_VENV": "1", "STUDIO_DATA": str(data), "STUDIO_DATABASE_URL": database_url}
    return ours | named | {"DJANGO_SETTINGS_MODULE": "studio.settings"}
