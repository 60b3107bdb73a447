"""The Celery application. It only carries nudges: the errand rows are the truth (``workshop/errands.py``)."""

import gc
import os
from typing import Any

from celery import Celery
from celery.app.log import Logging
from celery.signals import celeryd_init, worker_before_create_process

from studio.running import folder

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

folder.register()


class OneLog(Logging):
    """Celery would put handlers of its own beside ours, which cut no token and no address."""

    def setup_logging_subsystem(self, *args: Any, **options: Any) -> None:
        """What there is to set up is in the settings (LOGGING)."""


app = Celery("studio", log=OneLog)
app.config_from_object("django.conf:settings", namespace="CELERY")


@celeryd_init.connect
def load_tasks(**options: Any) -> None:
    """In workers alone. Beat and the web only name tasks, and need none of what those load, such as what opens pictures."""
    app.autodiscover_tasks(force=True)


@worker_before_create_process.connect
def share_memory(**options: Any) -> None:
    """What a pool's children are born with is theirs together, until somebody writes into it; a collection would."""
    gc.collect()
    gc.freeze()
