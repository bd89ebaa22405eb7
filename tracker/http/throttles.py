"""How often one caller may ask: counted per minute in the shared cache."""

import time
from typing import Any

import structlog
from django.core.cache import cache
from django.db import DatabaseError
from redis import RedisError
from rest_framework.request import Request
from rest_framework.settings import api_settings
from rest_framework.throttling import BaseThrottle

from tracker.http.keys import actor_of

log = structlog.get_logger(__name__)
SECONDS = {"s": 1, "min": 60, "h": 3600}


class Counted(BaseThrottle):
    """A fixed window per caller. When the counter's cache is away, requests pass: a lost counter stops nobody."""

    scope = "key"
    wait_s: float | None = None

    def allow_request(self, request: Request, view: Any) -> bool:
        """Count this request; False when the window is used up."""
        limit, window = parse_rate(api_settings.DEFAULT_THROTTLE_RATES[self.scope])
        now = time.time()
        slot = int(now // window)
        try:
            used = count(f"throttle:{self.scope}:{self.who(request)}:{slot}", window)
        except (DatabaseError, RedisError, OSError) as error:
            log.warning("throttle counter not available", error=type(error).__name__)
            return True
        self.wait_s = (slot + 1) * window - now
        return used <= limit

    def wait(self) -> float | None:
        """Seconds until the next window, rounded up."""
        return None if self.wait_s is None else max(1, -int(-self.wait_s // 1))

    def who(self, request: Request) -> str:
        """Whom to count: the key or person, else the address."""
        return actor_of(request) or self.get_ident(request)


class PerKey(Counted):
    """Calls of the API per key or person."""


class PerAddress(Counted):
    """Calls of public pages per address."""

    scope = "public"

    def who(self, request: Request) -> str:
        """The caller's address."""
        return self.get_ident(request)


class FoundPerAddress(PerAddress):
    """Messages about found trikes per address."""

    scope = "found"


def count(key: str, window: int) -> int:
    """Return how often `key` was counted, this time included."""
    if cache.add(key, 1, timeout=window * 2):
        return 1
    try:
        return cache.incr(key)
    except ValueError:  # it ran out between the two calls
        cache.set(key, 1, timeout=window * 2)
        return 1


def parse_rate(rate: str) -> tuple[int, int]:
    """Return (calls, seconds) of a rate such as '600/min'."""
    calls, _, unit = rate.partition("/")
    return int(calls), SECONDS[unit]
