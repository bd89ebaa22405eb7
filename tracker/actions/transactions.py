"""One action, one transaction."""

from collections.abc import Callable
from contextvars import ContextVar
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import transaction

P = ParamSpec("P")
R = TypeVar("R")

# True while an outer, named transaction is open that an action may join (see run_once).
_joinable: ContextVar[bool] = ContextVar("joinable", default=False)


def action(function: Callable[P, R]) -> Callable[P, R]:
    """Run `function` in a transaction of its own; inside run_once, in that one. Nested actions raise RuntimeError."""

    @wraps(function)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        with transaction.atomic(durable=not _joinable.get()):
            return function(*args, **kwargs)

    return run
