"""The Celery application. It only carries nudges: the errand rows are the truth (``workshop/errands.py``)."""

import os

from celery import Celery

from studio.running import folder

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

folder.register()
app = Celery("studio")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
