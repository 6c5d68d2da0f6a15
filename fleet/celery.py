"""The Celery application. Tasks live in each app's `tasks.py`; what wakes them is `fleet.bell`."""

import os

from celery import Celery
from celery.signals import worker_init, worker_process_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

app = Celery("warmgate")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect
@worker_process_init.connect
def _warm(**_: object) -> None:
    """A worker, and each of its child processes, pays for first calls before its first task."""
    from fleet.warmers import warm_up_process

    warm_up_process()
