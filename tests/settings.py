"""Settings of the test suite: the service's own, on a file of its own and with the bell off.

PostgreSQL and Redis are used only when WARMGATE_DATABASE_URL and WARMGATE_BROKER_URL say so; nothing is probed.
"""

import os
import secrets
import tempfile

os.environ.setdefault("WARMGATE_STATE_DIR", tempfile.mkdtemp(prefix="warmgate-tests-"))
os.environ.setdefault("WARMGATE_SECRET_KEY", "tests-only-" + "0123456789abcdef" * 4)
os.environ.setdefault("WARMGATE_BELL", "off")
os.environ.setdefault("WARMGATE_LOG_LEVEL", "WARNING")
os.environ.setdefault("KILL_SEED", str(secrets.randbelow(1_000_000) + 1))  # one draw for all processes of a run

from fleet.settings import *  # noqa: F403
from fleet.settings import DATABASES, STATE_DIR

SECURE_SSL_REDIRECT = False
ALLOWED_HOSTS = ["*"]
WHITENOISE_AUTOREFRESH = True  # each client of a test would look through all static files before its first request
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
if "sqlite3" in str(DATABASES["default"]["ENGINE"]):
    # A file, not memory: threads of a test each open their own connection, under the rules of production.
    DATABASES["default"]["TEST"] = {"NAME": str(STATE_DIR / "test.sqlite3")}
if name := os.environ.get("WARMGATE_TEST_DB"):
    DATABASES["default"]["TEST"] = {"NAME": name}
