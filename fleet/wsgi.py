"""The WSGI entry point of the web processes."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

application = get_wsgi_application()

from fleet.warmers import warm_up_process  # noqa: E402 - the apps must be ready first

warm_up_process()
