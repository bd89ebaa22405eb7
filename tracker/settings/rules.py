"""What must hold of the settings for background work and mail. A process with other settings does not start.

Celery with Redis gives a task out again when it was not acknowledged within the visibility timeout: a task that may run
longer than a third of it could run twice at once, and one that was acknowledged early is lost with its worker.
"""

from typing import Any


def faults(settings: Any) -> list[str]:
    """Return what is wrong, in sentences; empty when all holds."""
    checks = {
        "CELERY_TASK_ACKS_LATE must be on: a killed worker's task is delivered again.": settings.CELERY_TASK_ACKS_LATE,
        "CELERY_TASK_REJECT_ON_WORKER_LOST must be on.": settings.CELERY_TASK_REJECT_ON_WORKER_LOST,
        "CELERY_BROKER_CONNECTION_MAX_RETRIES must be None: a worker waits for its broker as long as it takes.": (
            settings.CELERY_BROKER_CONNECTION_MAX_RETRIES is None
        ),
        "CELERY_WORKER_PREFETCH_MULTIPLIER must be 1.": settings.CELERY_WORKER_PREFETCH_MULTIPLIER == 1,
        "CELERY_TASK_TIME_LIMIT must be set and less than a third of the visibility timeout.": _limited(settings),
        "CELERY_TASK_SOFT_TIME_LIMIT must be less than CELERY_TASK_TIME_LIMIT.": (
            0 < settings.CELERY_TASK_SOFT_TIME_LIMIT < (settings.CELERY_TASK_TIME_LIMIT or 0)
        ),
        "SQLite needs transaction_mode IMMEDIATE and a timeout of 20 s or more.": _sqlite_waits(settings),
        "REMINDER_WEBHOOK_SECRET must be set where REMINDER_WEBHOOK_URL is.": (
            bool(settings.REMINDER_WEBHOOK_SECRET) or not settings.REMINDER_WEBHOOK_URL
        ),
        "BOUNCE_ADDRESS must be a plain address: bounce@example.org.": _plain(settings.BOUNCE_ADDRESS),
    }
    return [words for words, holds in checks.items() if not holds]


def _limited(settings: Any) -> bool:
    visible = settings.CELERY_BROKER_TRANSPORT_OPTIONS.get("visibility_timeout", 0)
    return 0 < (settings.CELERY_TASK_TIME_LIMIT or 0) < visible / 3


def _sqlite_waits(settings: Any) -> bool:
    database = settings.DATABASES["default"]
    options = database.get("OPTIONS", {})
    return not database["ENGINE"].endswith("sqlite3") or (
        options.get("transaction_mode") == "IMMEDIATE" and options.get("timeout", 0) >= 20
    )


def _plain(address: str) -> bool:
    local, at, domain = address.partition("@")
    return not address or bool(local and at and domain and "+" not in local)
