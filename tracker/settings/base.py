"""Settings for every run: complete, safe by default, read from the environment.

Nothing set: the embedded default. One SQLite file, no broker, debug off, a secret made once and kept beside the data.
`DATABASE_URL` moves the data to PostgreSQL; `REDIS_URL` moves the tasks to Celery workers. DEVELOPERS.md lists all.
"""

import secrets
from pathlib import Path

import dj_database_url
import structlog
from celery.schedules import crontab
from environs import Env

BASE_DIR = Path(__file__).resolve().parent.parent.parent
env = Env()

DATA_DIR = Path(env.str("TRACKER_DATA_DIR", str(BASE_DIR / "var")))


def kept_secret(path: Path) -> str:
    """Return the secret kept in `path`, made at the first start and readable by its owner only."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(50))
    return path.read_text().strip()


DEBUG = env.bool("DEBUG", False)
SECRET_KEY = env.str("SECRET_KEY", "") or kept_secret(DATA_DIR / "secret-key")
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", [])
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", ["127.0.0.1", "localhost", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", [])

# The workshop itself.
WORKSHOP_NAME = env.str("WORKSHOP_NAME", "Larkfen Trikeworks")
WORKSHOP_TIME_ZONE = env.str("WORKSHOP_TIME_ZONE", "Europe/London")
WORKSHOP_PHONE_REGION = env.str("WORKSHOP_PHONE_REGION", "GB")
WORKSHOP_EMAIL = env.str("WORKSHOP_EMAIL", "service@larkfen.example.org")
WORKSHOP_PHONE = env.str("WORKSHOP_PHONE", "+44 20 7946 0100")
PUBLIC_URL = env.str("PUBLIC_URL", "http://127.0.0.1:8000").rstrip("/")
CLOSED_WEEKDAYS = {int(day) for day in env.list("CLOSED_WEEKDAYS", ["5", "6"])}  # Monday is 0
BENCH_MINUTES_A_DAY = env.int("BENCH_MINUTES_A_DAY", 420)  # one bench, seven hours of it; 0: no limit
QUIET_FROM_HOUR = env.int("QUIET_FROM_HOUR", 20)
QUIET_UNTIL_HOUR = env.int("QUIET_UNTIL_HOUR", 8)

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "axes",
    "tracker",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "tracker.http.headers.SafeHeaders",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "tracker.http.request_id.RequestId",
    "tracker.http.problems.ProblemsUnderApi",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "tracker.http.turning_text.TurningText",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "tracker.urls"
WSGI_APPLICATION = "tracker.wsgi.application"
APPEND_SLASH = True

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "tracker.pages.context.workshop",
            ]
        },
    }
]

# SQLite under several writers: a read-then-write transaction takes the write lock at once (IMMEDIATE) and waits up to
# 20 s for it; readers never wait (WAL). With Django's defaults one in five such transactions fails as "locked".
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 60,  # seconds a writer waits for the others; 20 ran out with eight writers on two loaded cores
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
}
DATABASES = {
    "default": dj_database_url.parse(
        env.str("DATABASE_URL", "") or f"sqlite:///{DATA_DIR / 'tracker.sqlite3'}",
        conn_max_age=60,
        conn_health_checks=True,
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["ENGINE"] = "tracker.sqlite3"
    DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS
    DATABASES["default"]["CONN_MAX_AGE"] = 0
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Throttle and lockout counters must be shared by all server processes: in the database, or in Redis where there is one.
REDIS_URL = env.str("REDIS_URL", "")
CACHES = {
    "default": (
        {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
        if REDIS_URL
        else {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "tracker_cache"}
    )
}

AUTH_USER_MODEL = "tracker.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "/login/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/login/"
# Ten wrong passwords lock that name from that address for a quarter of an hour, not all behind one router.
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_VERBOSE = False
AXES_LOCKOUT_TEMPLATE = "desk/locked.html"

LANGUAGE_CODE = "en-gb"
TIME_ZONE = WORKSHOP_TIME_ZONE
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
WHITENOISE_USE_FINDERS = True  # so that the embedded default needs no collectstatic
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

# Bodies: JSON up to 1 MB, spreadsheets up to 5 MB.
DATA_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
UPLOAD_MAX_BYTES = 5 * 1024 * 1024
RIDE_MAX_BYTES = 8 * 1024 * 1024  # as in tracker/rides/limits.py
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000

# Photos of job cards: files of at most 12 MB as they come, kept smaller. No upload of any page is taken in beyond that.
PHOTO_FOLDER = Path(env.str("PHOTO_FOLDER", str(DATA_DIR / "photos")))
PHOTO_MAX_BYTES = 12 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "tracker.http.uploads.LimitedUploads",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]

# Mail: kept as .eml files the desk can open, unless a server is named.
EMAIL_HOST = env.str("SMTP_HOST", "")
EMAIL_PORT = env.int("SMTP_PORT", 587)
EMAIL_HOST_USER = env.str("SMTP_USER", "")
EMAIL_HOST_PASSWORD = env.str("SMTP_PASSWORD", "")
EMAIL_USE_TLS = env.bool("SMTP_TLS", True)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", f"{WORKSHOP_NAME} <{WORKSHOP_EMAIL}>")
# Or handed to another system over HTTPS, signed; PRIVATE allows addresses of our own network.
REMINDER_WEBHOOK_URL = env.str("REMINDER_WEBHOOK_URL", "")
REMINDER_WEBHOOK_SECRET = env.str("REMINDER_WEBHOOK_SECRET", "")
REMINDER_WEBHOOK_PRIVATE = env.bool("REMINDER_WEBHOOK_PRIVATE", False)
MAIL_CHANNEL = "webhook" if REMINDER_WEBHOOK_URL else "smtp" if EMAIL_HOST else "folder"
# Bounces: each letter gets a sender of its own, bounce+<token>@domain, and what comes back there is read every 5 minutes.
BOUNCE_ADDRESS = env.str("BOUNCE_ADDRESS", "")
BOUNCE_IMAP_HOST = env.str("BOUNCE_IMAP_HOST", "")
BOUNCE_IMAP_PORT = env.int("BOUNCE_IMAP_PORT", 993)
BOUNCE_IMAP_USER = env.str("BOUNCE_IMAP_USER", "")
BOUNCE_IMAP_PASSWORD = env.str("BOUNCE_IMAP_PASSWORD", "")
BOUNCE_IMAP_FOLDER = env.str("BOUNCE_IMAP_FOLDER", "INBOX")
BOUNCE_IMAP_TLS = env.bool("BOUNCE_IMAP_TLS", True)
MAIL_FOLDER = Path(env.str("MAIL_FOLDER", str(DATA_DIR / "mail")))

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 12 * 3600

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "tracker.http.keys.ApiKeyAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["tracker.http.roles.ByRole"],
    "DEFAULT_PARSER_CLASSES": ["tracker.http.parsing.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "tracker.http.paging.CursorPages",
    "DEFAULT_FILTER_BACKENDS": ["tracker.http.filters.StrictFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "tracker.http.schema.ProblemAutoSchema",
    "DEFAULT_THROTTLE_CLASSES": ["tracker.http.throttles.PerKey"],
    "DEFAULT_THROTTLE_RATES": {"key": "600/min", "public": "60/min", "found": "6/h"},
    "DEFAULT_VERSIONING_CLASS": None,
    "EXCEPTION_HANDLER": "tracker.http.problems.answer",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Workshop service record",
    "DESCRIPTION": "Delivered trikes, their serial-numbered components, service due, job cards and reminders.",
    "VERSION": "1.0.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "COMPONENT_SPLIT_REQUEST": True,
    "SORT_OPERATION_PARAMETERS": True,
    "POSTPROCESSING_HOOKS": [],  # choices stand where they are used, not as shared types with made-up names
}

# Celery. With Redis: workers and beat. Without: one ticker process (`manage.py ticker`), no broker at all.
CELERY_BROKER_URL = REDIS_URL or "memory://localhost/"
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TIMEZONE = "UTC"
CELERY_TASK_ACKS_LATE = True  # a killed worker's task is delivered again
CELERY_TASK_REJECT_ON_WORKER_LOST = True  # also when only one pool child was killed
# With Redis 0 goes first: mail, uploads and signs of life do not wait behind the shards of a night's sweep.
CELERY_TASK_ROUTES = {"tracker.sweep_shard": {"priority": 9}}
CELERY_WORKER_PREFETCH_MULTIPLIER = 1  # a slow task must not hold others back
CELERY_TASK_TIME_LIMIT = 300  # below a third of the visibility timeout, so that nothing runs twice at once
CELERY_TASK_SOFT_TIME_LIMIT = 270
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 1800,
    "unacked_restore_interval": 10,
    "unacked_restore_throttle": 1,
    # A broker whose machine is gone refuses nothing: give up a connection after 5 s, notice a dead one within half a minute.
    "socket_connect_timeout": 5,
    "health_check_interval": 10,
}
# After the broker was away all is caught up within a minute (goal R4, `python -m tests.scores faults --broker`), because
# workers and beat knock every five seconds at most (tracker/celery.py: there is no setting for it), beat rings for mail
# every 15 s, a round of mail outlasts that pause while letters wait, and a sweep's shards let everything else go first.
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = (
    None  # with the default of 100 a worker gives up after some 50 minutes without Redis
)
# tracker/settings/rules.py reads these back: a process with settings that lose or double work does not start.
# What rings again within a minute is forgotten after five when no worker heard it: a weekend without one leaves no heap.
_RINGS_AGAIN = {"expires": 300}
CELERY_BEAT_SCHEDULER = "tracker.management.pulse:LivingScheduler"
CELERY_BEAT_SCHEDULE = {
    "sign-of-life": {"task": "tracker.heartbeat", "schedule": 60.0, "options": _RINGS_AGAIN},
    "weekly-learning": {"task": "tracker.learn_fleet", "schedule": crontab(hour="0", minute="45", day_of_week="0")},
    "nightly-bulletins": {"task": "tracker.match_bulletins", "schedule": crontab(hour="1", minute="5")},
    "nightly-sweep": {"task": "tracker.sweep", "schedule": crontab(hour="1", minute="15")},
    "dispatch-outbox": {"task": "tracker.dispatch_outbox", "schedule": 15.0, "options": _RINGS_AGAIN},
    "read-bounces": {"task": "tracker.read_bounces", "schedule": 300.0},
    "waiting-imports": {"task": "tracker.work_imports", "schedule": 2.0, "options": _RINGS_AGAIN},
    "waiting-reviews": {"task": "tracker.work_reviews", "schedule": 5.0, "options": _RINGS_AGAIN},
    "lost-photos": {"task": "tracker.forget_lost_photos", "schedule": crontab(hour="2", minute="50")},
    "old-import-files": {"task": "tracker.forget_import_files", "schedule": crontab(hour="2", minute="40")},
    "nightly-review": {"task": "tracker.nightly_review", "schedule": crontab(hour="2", minute="15")},
}

METRICS_TOKEN = env.str("METRICS_TOKEN", "")  # who may read /metrics from elsewhere; none: only this machine
LOG_LEVEL = env.str("LOG_LEVEL", "INFO")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {
            "()": structlog.stdlib.ProcessorFormatter,
            "foreign_pre_chain": [
                structlog.contextvars.merge_contextvars,
                structlog.stdlib.add_logger_name,
                structlog.stdlib.add_log_level,
                structlog.processors.TimeStamper(fmt="iso", utc=True),
            ],
            "processors": [
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.format_exc_info,
                structlog.processors.JSONRenderer(),
            ],
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["stderr"], "level": LOG_LEVEL},
}
structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.filter_by_level,
        structlog.stdlib.add_logger_name,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    logger_factory=structlog.stdlib.LoggerFactory(),
)
