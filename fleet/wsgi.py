"""The WSGI entry point of the web processes."""

import os
import sys

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

_django = get_wsgi_application()

# The apps must be ready first.
from fleet.http.overload import Gatekeeper  # noqa: E402
from fleet.http.unread import ReadOff  # noqa: E402
from fleet.http.whole import Whole  # noqa: E402
from fleet.warmers import warm_up_process  # noqa: E402

application = ReadOff(Gatekeeper(Whole(_django)))
warm_up_process()

# A short answer gives up the interpreter at each of its statements and has to get it back from a thread that ranks a
# thousand units, which keeps it for 5 ms each time if Python is left to itself (docs/decisions.md).
SWITCH_INTERVAL_S = 0.001
sys.setswitchinterval(SWITCH_INTERVAL_S)
