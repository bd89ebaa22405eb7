"""Plate labels: a random code per trike, derived from nothing, that opens the trike for staff and a calm page for others."""

import secrets
from datetime import datetime

from tracker.actions.refusals import Invalid
from tracker.actions.steps import lock_version
from tracker.actions.transactions import action
from tracker.models import Trike, User

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"  # base32 (RFC 4648): nothing that is mistaken when typed by hand
LENGTH = 20  # 100 random bits: nobody finds a code by trying


def new_label_code() -> str:
    """Return a fresh code."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


@action
def mint_label(*, trike_id: int, by: User | None, now: datetime) -> Trike:
    """Give a trike its label code; one that has its code keeps it: labels are on the frame. Raises Invalid."""
    trike = lock_version(Trike, trike_id, None)
    return trike if trike.label_code else _with_new_code(trike)


@action
def replace_label(*, trike_id: int, version: int | None, by: User | None, now: datetime) -> Trike:
    """Give a trike another code; labels printed before lead nowhere from now on. Raises StaleVersion, Invalid."""
    trike = lock_version(Trike, trike_id, version)
    if not trike.label_code:
        raise Invalid("This trike has no label yet.", field="id", remedy="Make its first one.")
    return _with_new_code(trike)


def _with_new_code(trike: Trike) -> Trike:
    trike.label_code = new_label_code()
    trike.version += 1
    trike.save(update_fields=["label_code", "version"])
    return trike
