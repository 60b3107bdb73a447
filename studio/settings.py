"""All settings, in one file. What differs from place to place comes from the environment (``studio/env.py``)."""

from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from studio import env, keys
from studio.running import folder

BASE_DIR = Path(__file__).resolve().parent.parent
DATA = env.folder("DATA", BASE_DIR / ".studio")
MEDIA_ROOT = DATA / "media"
OUTBOX = DATA / "outbox"
FILE_UPLOAD_TEMP_DIR = DATA / "arriving"
env.made("DATA", DATA, MEDIA_ROOT, OUTBOX, FILE_UPLOAD_TEMP_DIR)

SECRET_KEY = keys.secret("SECRET_KEY", DATA / "secret.key")
# Clients' links are signed with a key of their own, so that either can be changed without the other.
LINK_KEY_FILE = DATA / "link.key"  # manage.py rotate_link_key puts a new key first, and keeps the earlier ones
LINK_KEY, *_earlier = keys.every("LINK_KEY", LINK_KEY_FILE)
LINK_KEY_FALLBACKS = [*_earlier, *keys.earlier("LINK_KEY_FALLBACKS")]

METRICS_KEY = keys.secret("METRICS_KEY", DATA / "metrics.key")

ADDRESS = env.address("ADDRESS", "http://127.0.0.1:8000")
SECURE = ADDRESS.startswith("https://")
DEBUG = False
ALLOWED_HOSTS = env.hosts("HOSTS", ADDRESS)
# Who asked, and whether by https, is what waitress says (studio/running/web.py): it believes this peer and nobody else.
PROXY = env.proxy("PROXY")
CSRF_TRUSTED_ORIGINS = [ADDRESS]
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
if SECURE:  # so named, a browser takes them by https from this host only, never from a neighbour under the same domain
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-sessionid", "__Host-csrftoken"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30  # a phone at the bench should not ask for a password each week
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 30 if SECURE else 0
SECURE_SSL_REDIRECT = SECURE
SECURE_REDIRECT_EXEMPT = [r"^(healthz|metrics|robots\.txt)$"]  # asked on this machine, past the proxy
X_FRAME_OPTIONS = "DENY"  # for browsers that do not know frame-ancestors

INSTALLED_APPS = [
    "django.contrib.admin.apps.SimpleAdminConfig",  # the one site is studio/workshop/admin.py
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "studio.workshop",
    "studio.front",
    "studio.bench",
    "studio.office",
    "studio.letterbox",
    "clientportal",
]
MIDDLEWARE = [
    "studio.front.csp.Headers",
    "studio.front.requests.Requests",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "studio.front.bodies.SmallBodies",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "studio.front.zone.ShopZone",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "studio.front.errors.NoBlankAnswers",
    "studio.doorbell.Doorbell",
]
ROOT_URLCONF = "studio.urls"
WSGI_APPLICATION = "studio.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "studio" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "studio.front.context.page",
            ],
        },
    },
]
CSRF_FAILURE_VIEW = "studio.front.errors.csrf_failure"
# A message outlives the redirect in a signed cookie, so that no answer needs a session row.
MESSAGE_STORAGE = "django.contrib.messages.storage.cookie.CookieStorage"
MIGRATION_MODULES: dict[str, str] = {}
# What HSTS says of the names beside ours, and for good, is not the studio's to decide: W005 asks for includeSubDomains, W021
# for a place on the browsers' preload lists.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

AUTH_USER_MODEL = "workshop.Person"
LOGIN_URL = "/sign-in/"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("name", "email")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
SQLITE_FILE = DATA / "studio.sqlite3"
DATABASE = env.database("DATABASE_URL", SQLITE_FILE)
PORTAL_ROLE = "studio_portal"
SQLITE = DATABASE["ENGINE"].endswith("sqlite3")
# Left by manage.py move_database: on the old file the same letters would leave once more, and new work be lost.
MOVED = DATA / "moved-to-postgresql"
if SQLITE and MOVED.exists():
    raise env.BadSetting(
        "STUDIO_DATABASE_URL",
        f"the record of {DATA} was moved to PostgreSQL. Write its address here again; "
        f"to go on with the old file instead, delete {MOVED}.",
    )


def _connection(read_only: bool) -> dict[str, Any]:
    """One DATABASES entry. Measured: with these SQLite options six writers at once never met a locked database."""
    if not SQLITE:
        # The role is the real fence (manage.py portal_role): it has no more than SELECT on what a client's page shows.
        fence = f"-c role={PORTAL_ROLE} -c default_transaction_read_only=on"
        options: dict[str, Any] = {"options": fence} if read_only else {}
        return DATABASE | {"CONN_MAX_AGE": 600, "CONN_HEALTH_CHECKS": True, "OPTIONS": options}
    if read_only:
        # mode=ro cannot be switched off by SQL; query_only is the second fence, and the one that tests have.
        name = f"file:{quote(Path(DATABASE['NAME']).as_posix())}?mode=ro"
        options = {"uri": True, "timeout": 20, "init_command": "PRAGMA query_only=ON;PRAGMA temp_store=MEMORY"}
        return DATABASE | {"NAME": name, "OPTIONS": options}
    pragmas = "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA temp_store=MEMORY"
    return DATABASE | {"OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": pragmas}}


# Under tests the portal's connection looks at the same test database; its fence stays in OPTIONS.
DATABASES = {
    "default": _connection(read_only=False) | ({"TEST": {"NAME": str(DATA / "test.sqlite3")}} if SQLITE else {}),
    "portal": _connection(read_only=True) | {"TEST": {"MIRROR": "default"}},
}
DATABASE_ROUTERS = ["studio.routers.PortalRouter"]

CACHES = {"default": env.cache("CACHE_URL")}  # counts tries to sign in

LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
TIME_ZONE = env.zone("TIME_ZONE", "Europe/London")
LOCALE_PATHS = [BASE_DIR / "studio" / "locale"]

STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "studio" / "static"]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_MAX_AGE = 60 * 60 * 24 * 365  # every address carries its content's hash

# Without a mail server, letters lie in the outbox folder and nobody is written to.
MAIL = env.mail_server("SMTP_URL")
_host = urlsplit(ADDRESS).hostname or "localhost"
LETTERS_FROM = env.mailbox(
    "LETTERS_FROM", f"letters@[IPv6:{_host}]" if ":" in _host else f"letters@{_host}"
)  # RFC 5321, 4.1.3

# Straight to a file on the media's own disk: keeping a photo is then a rename, not a second copy.
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.TemporaryFileUploadHandler"]
FILE_UPLOAD_PERMISSIONS = 0o600
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000_000
DATA_UPLOAD_MAX_NUMBER_FILES = 20

CELERY_BROKER_URL = env.broker("BROKER_URL", folder.address(DATA / "broker"))
CELERY_TIMEZONE = TIME_ZONE
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_DEFAULT_QUEUE = "letters"
CELERY_TASK_PUBLISH_RETRY = False  # a request must not hang on a dead broker; the sweep finds what was not published
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_MAX_TASKS_PER_CHILD = 100
CELERY_WORKER_MAX_MEMORY_PER_CHILD = 400_000
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False  # nothing asks a worker anything: what counts is in the rows
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = (
    {
        "visibility_timeout": 600,
        "socket_timeout": 10,
        "socket_connect_timeout": 2,
        "socket_keepalive": True,
        "health_check_interval": 10,
        # For who publishes: one more try at once, or a request would wait 6 s for a broker that is gone (measured).
        "max_retries": 1,
        "interval_start": 0.1,
        "queue_order_strategy": "priority",
    }
    if CELERY_BROKER_URL.startswith("redis")
    else {}
)
# Each sweep re-nudges what was missed. Every 10 s, because a killed worker's photo should be on the client's page
# within a minute; it costs two small queries.
CELERY_BEAT_SCHEDULE = {"sweep": {"task": "studio.sweep", "schedule": 10.0, "options": {"expires": 10.0}}}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"tokens": {"()": "studio.logs.TokenFilter"}},
    "formatters": {"line": {"()": "studio.logs.LineFormatter"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "filters": ["tokens"], "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "django.server": {"handlers": ["stderr"], "propagate": False},
        # What was refused or not found has its line already (studio/front/requests.py).
        "django.request": {"level": "ERROR"},
        # A nudge that came and went is no news, six times a minute.
        "celery": {"level": "WARNING"},
    },
}
