"""One action, one transaction; and one effect for one request, however often it is sent."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import DatabaseError, transaction

from tracker.models import IdempotencyRecord

P = ParamSpec("P")
R = TypeVar("R")

ANSWERS_KEPT = timedelta(hours=24)
# No request runs that long. A claim older than this was left by a crash, whose effect was rolled back.
CLAIM_LASTS = timedelta(minutes=2)

# True while an outer, named transaction is open that an action may join (see run_once).
_joinable: ContextVar[bool] = ContextVar("joinable", default=False)


def action(function: Callable[P, R]) -> Callable[P, R]:
    """Run `function` in a transaction of its own; inside run_once, in that one. Nested actions raise RuntimeError."""

    @wraps(function)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        with transaction.atomic(durable=not _joinable.get()):
            return function(*args, **kwargs)

    return run


@dataclass(frozen=True)
class Answer:
    """An answer as it went out: what a repeated request gets again, byte for byte."""

    status: int
    body: str
    headers: dict[str, str] = field(default_factory=dict)


class KeyReused(Exception):
    """The key came with another request before."""


class StillRunning(Exception):
    """The first request with this key has not been answered yet."""


@dataclass(frozen=True)
class _Claim:
    record_id: int
    since: datetime


def run_once(
    *, actor: str, key: str, request_hash: str, now: datetime, call: Callable[[], Answer],
    when_refused: Callable[[Exception], Answer | None],
) -> tuple[Answer, bool]:  # fmt: skip
    """Let `call` take effect once for (actor, key); return its answer and whether it is a repeated one.

    The key is claimed in a short transaction first, so that a second request sees that the first still runs. Then
    the effect and its answer commit together: after a crash there are both or neither, and a claim left behind
    lapses. A refusal for which `when_refused` returns an answer is remembered as well; other errors give the key back.

    Raises KeyReused (same key, other request), StillRunning.
    """
    claim = _claim(actor, key, request_hash, now)
    if isinstance(claim, Answer):
        return claim, True
    try:
        with transaction.atomic(durable=True), _joining():
            answer = call()
            _remember(claim, answer)
        return answer, False
    except Exception as error:
        answer = when_refused(error)
        with suppress(DatabaseError), transaction.atomic(durable=True):
            if answer is None:
                _records(claim).delete()
            else:
                _remember(claim, answer)
        if answer is None:
            raise
        return answer, False


@contextmanager
def _joining() -> Iterator[None]:
    token = _joinable.set(True)
    try:
        yield
    finally:
        _joinable.reset(token)


def _claim(actor: str, key: str, request_hash: str, now: datetime) -> _Claim | Answer:
    with transaction.atomic(durable=True):
        forget_old_answers(now)
        row, is_new = IdempotencyRecord.objects.get_or_create(
            actor=actor, key=key, defaults={"request_hash": request_hash, "created_at": now}
        )
        if is_new:
            return _Claim(row.pk, now)
        if row.request_hash != request_hash:
            raise KeyReused
        if row.status is not None:
            return Answer(row.status, row.body, row.headers)
        lapsed = row.created_at <= now - CLAIM_LASTS
        if lapsed and _records(_Claim(row.pk, row.created_at)).update(created_at=now):
            return _Claim(row.pk, now)
        raise StillRunning


def _records(claim: _Claim):
    """The claimed record, as long as nobody else took the claim over."""
    return IdempotencyRecord.objects.filter(pk=claim.record_id, created_at=claim.since, status__isnull=True)


def _remember(claim: _Claim, answer: Answer) -> None:
    """Keep the answer; a claim that lapsed meanwhile and was taken over rolls the effect back."""
    if not _records(claim).update(status=answer.status, body=answer.body, headers=answer.headers):
        raise StillRunning


def forget_old_answers(now: datetime) -> int:
    """Delete answers older than a day; return how many rows went."""
    return IdempotencyRecord.objects.filter(created_at__lt=now - ANSWERS_KEPT).delete()[0]
