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
