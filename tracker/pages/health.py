"""Two questions for a watchdog: is the process alive (/healthz), and can it do its work (/readyz)."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import redis
from django.conf import settings
from django.core.cache import caches
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from tracker.models import Trike
from tracker.queries.background import running_sweep, signs
from tracker.queries.outbox import backlog
from tracker.queries.reminders import last_sweep

OLDEST_SWEEP = timedelta(hours=26)  # it runs every night
OLDEST_MESSAGE = timedelta(minutes=15)  # the dispatcher comes every 15 seconds

Check = Callable[[], tuple[bool, Any]]


@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """Answer as long as the process can answer."""
    return JsonResponse({"status": "ok"}, headers={"Cache-Control": "no-store"})


@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """Tell each part's state; 503 when one is red."""
    checks = {name: _answer(check) for name, check in CHECKS.items()}
    ready = all(check["ok"] for check in checks.values())
    return JsonResponse(
        {"status": "ok" if ready else "red", "checks": checks},
        status=200 if ready else 503,
        headers={"Cache-Control": "no-store"},
    )


def _answer(check: Check) -> dict[str, Any]:
    """Run one check. What breaks is red and named by its kind: addresses and passwords stay inside."""
    try:
        ok, says = check()
    except (DatabaseError, redis.RedisError, OSError) as error:
        return {"ok": False, "says": type(error).__name__}
    return {"ok": ok, "says": says}


def _database() -> tuple[bool, str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return True, connection.vendor


def _broker() -> tuple[bool, str]:
    if not settings.REDIS_URL:
        return True, "none: the ticker works from the database"
    with redis.Redis.from_url(settings.REDIS_URL, socket_timeout=2, socket_connect_timeout=2) as broker:
        broker.ping()
    return True, "redis"


def _migrations() -> tuple[bool, Any]:
    executor = MigrationExecutor(connection)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return not missing, [str(migration) for migration, _ in missing] or "all applied"


def _cache() -> tuple[bool, str]:
    caches["default"].get("readyz")
    return True, "answers"


def _sweep() -> tuple[bool, str]:
    """The last sweep's age, and how far a running one is. Before the first, only a workshop that has trikes is late."""
    now = timezone.now()
    last, running = last_sweep(), running_sweep(now)
    progress = f"; running: {running.trikes_done} of {running.trikes_total} trikes" if running else ""
    if last is None:
        return not Trike.objects.filter(state=Trike.State.DELIVERED).exists(), f"never{progress}"
    age = now - last.finished_at
    return age < OLDEST_SWEEP, f"{age.total_seconds() / 3600:.1f} h ago{progress}"


def _signs_of_life() -> tuple[bool, dict[str, str]]:
    """When each kind of background process was last heard of; red after three minutes without."""
    now = timezone.now()
    found = signs(now)
    says = {sign.name: f"{(now - sign.at).total_seconds():.0f} s ago" if sign.at else "never" for sign in found}
    return not any(sign.silent for sign in found), says


def _outbox() -> tuple[bool, dict[str, Any]]:
    behind = backlog(timezone.now())
    minutes = round(behind.oldest.total_seconds() / 60, 1)
    says = {"waiting": behind.waiting, "oldest_minutes": minutes, "unknown": behind.unknown, "failed": behind.failed}
    return behind.oldest < OLDEST_MESSAGE, says


CHECKS: dict[str, Check] = {
    "database": _database,
    "migrations": _migrations,
    "cache": _cache,
    "broker": _broker,
    "background": _signs_of_life,
    "sweep": _sweep,
    "outbox": _outbox,
}

urlpatterns = [path("healthz", healthz, name="healthz"), path("readyz", readyz, name="readyz")]
