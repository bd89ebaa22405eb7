"""Tests: base, made cheaper. The database is SQLite in memory unless DATABASE_URL says otherwise."""

import os
import tempfile

os.environ.setdefault("TRACKER_DATA_DIR", tempfile.mkdtemp(prefix="tracker-test-"))
os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 50)

from tracker.settings.base import *  # noqa: F403
from tracker.settings.base import DATABASES, REST_FRAMEWORK

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
AXES_ENABLED = False
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
WHITENOISE_AUTOREFRESH = True
REST_FRAMEWORK = {
    **REST_FRAMEWORK,
    "DEFAULT_THROTTLE_RATES": {"key": "100000/min", "public": "100000/min", "found": "100000/min"},
}
DATABASES["default"]["CONN_MAX_AGE"] = 0
if not DATABASES["default"]["ENGINE"].endswith("postgresql"):
    # Said aloud, so that each of several test processes has its own.
    DATABASES["default"]["TEST"] = {"NAME": ":memory:"}

# Tasks run where they are called; what a real broker adds is tested by starting real workers (tests/tasks).
CELERY_TASK_ALWAYS_EAGER = True
