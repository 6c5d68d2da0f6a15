"""Every setting of the service. All come from the environment (see docs/operations.md) and are safe by default.

Without any variable set this is the *embedded* service: SQLite and an in-process broker under `.warmgate/`.
With WARMGATE_DATABASE_URL it is the *production* service and asks for its secrets.
"""

from datetime import timedelta
from pathlib import Path

from fleet import env
from fleet.http.enum_names import ENUM_NAMES
from fleet.ingest.schema import COMPONENTS

BASE_DIR = Path(__file__).resolve().parent.parent
STATE_DIR = Path(env.text("STATE_DIR", str(BASE_DIR / ".warmgate")))
EMBEDDED = not env.text("DATABASE_URL")

DEBUG = env.flag("DEBUG", default=False)
SECRET_KEY = env.secret("SECRET_KEY", STATE_DIR / "secret_key" if EMBEDDED else None)
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS", ["localhost", "127.0.0.1", "[::1]"])
PUBLIC_URL = env.text("PUBLIC_URL", "http://127.0.0.1:8000")

INSTALLED_APPS = [
    "fleet",  # before the operators' pages, whose templates it replaces
    "fleet.operators.apps.OperatorsConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "django_htmx",
    "rest_framework",
    "knox",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "inspections",
    "alarms",
    "thermal.adapter",
]
MIDDLEWARE = [
    "fleet.http.middleware.RequestContextMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.common.CommonMiddleware",
    # For pages only: the API knows tokens and nothing else (fleet/pages/middleware.py).
    "fleet.pages.middleware.PageSessionMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "fleet.pages.middleware.PageMemberMiddleware",
    "fleet.pages.middleware.PageMessageMiddleware",
]
ROOT_URLCONF = "fleet.urls"
WSGI_APPLICATION = "fleet.wsgi.application"
AUTH_USER_MODEL = "fleet.Member"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
APPEND_SLASH = False
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

# --- storage ------------------------------------------------------------------------------------------------------
# SQLite: WAL lets readers work beside the one writer; IMMEDIATE takes the write lock at BEGIN, so that a transaction
# that reads before it writes waits its turn instead of failing with "database is locked".
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": (
        "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA cache_size=-64000;"
        "PRAGMA mmap_size=134217728;PRAGMA temp_store=MEMORY;"
    ),
}
_DATABASE = env.database(
    "DATABASE_URL", {"ENGINE": "django.db.backends.sqlite3", "NAME": str(STATE_DIR / "warmgate.sqlite3")}
)
if "sqlite3" in str(_DATABASE["ENGINE"]):
    _DATABASE["OPTIONS"] = SQLITE_OPTIONS
    STATE_DIR.mkdir(parents=True, exist_ok=True)
else:
    _DATABASE["OPTIONS"] = {"server_side_binding": True, "prepare_threshold": 2}
_DATABASE |= {"CONN_MAX_AGE": None, "CONN_HEALTH_CHECKS": True, "ATOMIC_REQUESTS": False}
DATABASES = {"default": _DATABASE}

# --- worker (measured choices: docs/decisions) --------------------------------------------------------------------
BROKER_URL = env.text("BROKER_URL", "memory://")
CELERY_BROKER_URL = BROKER_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = False  # a bell is not the work: what a killed worker had claimed falls due with its lease
CELERY_TASK_PUBLISH_RETRY = False
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
CELERY_WORKER_SEND_TASK_EVENTS = False
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 10
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_TIMEOUT = 2
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
CELERY_TASK_ROUTES = {"alarms.deliver_due": {"queue": "deliver"}}
CELERY_TASK_DEFAULT_QUEUE = "assess"
CELERY_TIMEZONE = "UTC"
if BROKER_URL.startswith("memory"):
    CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, object] = {"polling_interval": 0.05}
else:
    # No acknowledgements: putting unacknowledged messages back while Redis is gone ends the worker (kombu 5.7), and
    # nothing is lost with a bell. socket_timeout > the broker's own blocking wait of 1 s.
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "ack_emulation": False,
        "socket_timeout": 2,
        "socket_connect_timeout": 0.5,
        "socket_keepalive": True,
        "retry_on_timeout": False,
        "health_check_interval": 10,
        "max_retries": 0,
    }
SWEEP_INTERVAL_S = env.number("SWEEP_INTERVAL_S", 5.0, low=0.1, high=300)
BELL_PAUSE_S = env.number("BELL_PAUSE_S", 5.0, low=0, high=300)
# "auto" rings the worker's bell; "off" leaves everything to the sweep (tests that count who did the work).
BELL = env.text("BELL", "auto")

# --- HTTP ---------------------------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["fleet.http.auth.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["fleet.http.auth.RoleAllowed"],
    "DEFAULT_THROTTLE_CLASSES": ["fleet.http.throttle.TokenThrottle"],
    "DEFAULT_PARSER_CLASSES": ["fleet.http.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["fleet.http.renderers.OrjsonRenderer"],
    "DEFAULT_PAGINATION_CLASS": "fleet.http.pagination.IdCursorPagination",
    "DEFAULT_FILTER_BACKENDS": ["fleet.http.filters.StrictFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "fleet.http.schema.AutoSchema",
    "EXCEPTION_HANDLER": "fleet.http.problems.exception_handler",
    "UNAUTHENTICATED_USER": None,
    "URL_FORMAT_OVERRIDE": None,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
# Hours a token of each role lives. Machines hold theirs in a secret store; people carry theirs on phones.
TOKEN_LIFE_H = {"integrator": 24 * 365, "dispatcher": 24 * 365, "inspector": 24 * 14, "manager": 24 * 7}
KNOX_TOKEN_MODEL = "knox.AuthToken"
REST_KNOX = {
    "TOKEN_TTL": timedelta(hours=10),
    "AUTO_REFRESH": False,
    "AUTH_HEADER_PREFIX": "Bearer",
    "TOKEN_LIMIT_PER_USER": None,
}
# Quotas of one token in a minute, each of its own: what floods one leaves the others alone (fleet/http/throttle.py).
RATE_URL = env.text("RATE_URL", BROKER_URL)
RATE_CALLS_PER_MIN = env.whole("RATE_CALLS_PER_MIN", 3_000, low=1, high=1_000_000)
RATE_EVENTS_PER_MIN = env.whole("RATE_EVENTS_PER_MIN", 6_000, low=1, high=1_000_000)
RATE_ACTS_PER_MIN = env.whole("RATE_ACTS_PER_MIN", 1_200, low=1, high=1_000_000)
# Log-ins of one name from one address in a quarter of an hour; a name from anywhere may try six times as many.
LOGIN_TRIES = env.whole("LOGIN_TRIES", 10, low=1, high=10_000)
# Batches of events at work in one web process, and how many more may wait how long; the rest are refused unread
# (fleet/http/overload.py). Together they must stay below the process's threads (8): the others serve everything else.
INGEST_AT_ONCE = env.whole("INGEST_AT_ONCE", 2, low=1, high=100)
INGEST_WAITING = env.whole("INGEST_WAITING", 2, low=0, high=100)
INGEST_PATIENCE_S = env.number("INGEST_PATIENCE_S", 1.0, low=0, high=30)
MAX_BODY_BYTES = 1_048_576
DATA_UPLOAD_MAX_MEMORY_SIZE = MAX_BODY_BYTES
METRICS_TOKEN = env.text("METRICS_TOKEN")
SPECTACULAR_SETTINGS = {
    "TITLE": "warmgate",
    "DESCRIPTION": (
        "Decides whether a heated cargo unit is ready for a trip, keeps its inspections and alarms, and tells the "
        "right person when a departure is blocked. The service advises; it does not certify. Local codes, the "
        "carrier's rules, the maker's manual and licensed technicians stand above it."
    ),
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_AUTHENTICATION": [],
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SORT_OPERATIONS": True,
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": ENUM_NAMES,
    "APPEND_COMPONENTS": {"schemas": COMPONENTS},
    "POSTPROCESSING_HOOKS": [
        "fleet.http.schema.add_webhooks",
        "drf_spectacular.hooks.postprocess_schema_enums",
    ],
}

# --- pages --------------------------------------------------------------------------------------------------------
AUTHENTICATION_BACKENDS = ["fleet.pages.signing_in.MemberBackend"]
LOGIN_URL = "page-sign-in"
CSRF_FAILURE_VIEW = "fleet.pages.errors.csrf_failure"
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
# Where the host's operators configure fleets.
ADMIN_PATH = env.text("ADMIN_PATH", "admin/").strip("/") + "/"
STATIC_URL = "/static/"
STATIC_ROOT = STATE_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
WHITENOISE_USE_FINDERS = True

# --- safety -------------------------------------------------------------------------------------------------------
SECURE_CONTENT_TYPE_NOSNIFF = True
# Our own middleware sets X-Frame-Options (W002).
SILENCED_SYSTEM_CHECKS = ["security.W002"]
SECURE_REFERRER_POLICY = "same-origin"
_TLS = env.flag("TLS", default=not EMBEDDED)
SECURE_SSL_REDIRECT = _TLS
SECURE_REDIRECT_EXEMPT = [r"^livez$", r"^readyz$", r"^metrics$"]
BEHIND_PROXY = env.flag("BEHIND_PROXY", default=False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_PROXY else None
SECURE_HSTS_SECONDS = 31_536_000 if _TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = _TLS
SECURE_HSTS_PRELOAD = _TLS
SESSION_COOKIE_SECURE = _TLS
CSRF_COOKIE_SECURE = _TLS
# The prefix makes a browser refuse the cookie from anybody but this host over TLS (RFC 6265bis, section 4.1.3).
SESSION_COOKIE_NAME = "__Host-warmgate" if _TLS else "warmgate"
CSRF_COOKIE_NAME = "__Host-warmgate-form" if _TLS else "warmgate-form"

# --- notices ------------------------------------------------------------------------------------------------------
EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = env.text("SMTP_HOST", "127.0.0.1")
EMAIL_PORT = env.whole("SMTP_PORT", 8025, low=1, high=65535)
EMAIL_HOST_USER = env.text("SMTP_USER")
EMAIL_HOST_PASSWORD = env.text("SMTP_PASSWORD")
EMAIL_USE_TLS = env.flag("SMTP_TLS", default=False)
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = env.text("MAIL_FROM", "warmgate@example.invalid")
# Hosts (name or name:port) that a webhook may reach although they are not public or not https. Demo and tests only.
WEBHOOK_ALLOWED_HOSTS = env.words("WEBHOOK_ALLOWED_HOSTS", [])

# --- records ------------------------------------------------------------------------------------------------------
READINGS_KEEP_MONTHS = env.whole("READINGS_KEEP_MONTHS", 13, low=1, high=240)
RECORDS_KEEP_MONTHS = env.whole("RECORDS_KEEP_MONTHS", 36, low=12, high=600)

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en-us"
USE_I18N = False
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "fleet.http.logs.JsonFormatter"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": env.text("LOG_LEVEL", "INFO")},
    # waitress warns of every request that waits for a thread, as all do where more than eight ask at once.
    "loggers": {"django.request": {"level": "ERROR"}, "waitress.queue": {"level": "ERROR"}},
}
