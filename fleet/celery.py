"""The Celery application. Tasks live in each app's `tasks.py`; what wakes them is `fleet.bell`."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

app = Celery("warmgate")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
