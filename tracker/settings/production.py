"""Production: everything of base, tightened; refuses to start half-configured."""

from django.core.exceptions import ImproperlyConfigured

from tracker.settings.base import *  # noqa: F403
from tracker.settings.base import DATABASES, DEBUG, MIDDLEWARE, PUBLIC_URL, REDIS_URL, STORAGES, env


def demanded(name: str) -> str:
    """Return environment variable `name`; raise ImproperlyConfigured when it is missing or empty."""
    value = env.str(name, "")
    if not value:
        raise ImproperlyConfigured(f"{name} must be set in production.")
    return value


SECRET_KEY = demanded("SECRET_KEY")
demanded("DATABASE_URL")
demanded("ALLOWED_HOSTS")
demanded("PUBLIC_URL")
if len(SECRET_KEY) < 50:
    raise ImproperlyConfigured("SECRET_KEY must have at least 50 characters.")
if DEBUG:
    raise ImproperlyConfigured("DEBUG must be off in production.")
if "*" in env.list("ALLOWED_HOSTS"):
    raise ImproperlyConfigured("ALLOWED_HOSTS must name the hosts, not '*'.")
if not PUBLIC_URL.startswith("https://"):
    raise ImproperlyConfigured("PUBLIC_URL must begin with https://.")
if not DATABASES["default"]["ENGINE"].endswith("postgresql"):
    raise ImproperlyConfigured("DATABASE_URL must name a PostgreSQL database in production.")
if not REDIS_URL:
    raise ImproperlyConfigured("REDIS_URL must be set in production.")

SECURE_SSL_REDIRECT = env.bool("SECURE_SSL_REDIRECT", True)
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$", r"^metrics$"]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_HSTS_SECONDS = 31_536_000
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
SESSION_COOKIE_NAME = "__Host-session"
CSRF_COOKIE_NAME = "__Host-csrf"
WHITENOISE_USE_FINDERS = False
STORAGES = {
    **STORAGES,
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
MIDDLEWARE = list(MIDDLEWARE)
