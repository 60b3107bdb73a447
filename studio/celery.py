"""The Celery application. It only carries nudges: the errand rows are the truth (``workshop/errands.py``)."""

import os
from typing import Any

from celery import Celery
from celery.app.log import Logging

from studio.running import folder

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

folder.register()


class OneLog(Logging):
    """Celery would put handlers of its own beside ours, which cut no token and no address."""

    def setup_logging_subsystem(self, *args: Any, **options: Any) -> None:
        """What there is to set up is in the settings (LOGGING)."""


app = Celery("studio", log=OneLog)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
