"""Where the next interval counts from once a task was done early, in time or late.

The four policies as in TM 1-1500-328-23 ch. 2, EASA FAQ 19102 and 14 CFR 91.409(b). Aviation and military rules are
analogies here: none applies to a cycle workshop.
"""

import calendar
import math
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

WINDOW_SHARE = 0.10
WINDOW_CAP_DAYS = 30
WINDOW_CAP_KM = 250.0
WINDOW_CAP_HOURS = 5.0
_ROUNDING = 1e-6  # of a unit: 1609.4 - 1604.4 is a hair more than 5 to a computer


class Rebase(StrEnum):
    """From which point the next interval counts."""

    FROM_DONE = "from_done"
    FROM_DUE = "from_due"
    WINDOW = "window"
    NEVER_LATER = "never_later"


def add_months(anchor: date, months: int) -> date:
    """Return the date `months` calendar months after `anchor`, the day clipped to the month's end.

    Always count from the anchor: month after month from 31 Jan would drift to the 29th. Past the year 9999 it stays there.
    """
    year, month = divmod(anchor.year * 12 + anchor.month - 1 + months, 12)
    if year > date.max.year:
        return date.max
    return date(year, month + 1, min(anchor.day, calendar.monthrange(year, month + 1)[1]))


def add_days(anchor: date, days: int) -> date:
    """Return the date `days` after `anchor`; past the year 9999 it stays there."""
    return anchor + timedelta(days=min(days, date.max.toordinal() - anchor.toordinal()))


def window_days(interval_days: float) -> int:
    """Return the tolerance of a calendar interval: a tenth, whole days, at most 30 (TM 1-1500-328-23)."""
    return min(int(interval_days * WINDOW_SHARE + _ROUNDING), WINDOW_CAP_DAYS)


def window_km(interval_km: float) -> float:
    """Return the tolerance of a distance interval: a tenth, at most 250 km (own rule)."""
    return min(interval_km * WINDOW_SHARE, WINDOW_CAP_KM)


def window_hours(interval_hours: float) -> float:
    """Return the tolerance of an interval in hours: a tenth, at most 5 h (TM 1-1500-328-23)."""
    return min(interval_hours * WINDOW_SHARE, WINDOW_CAP_HOURS)


def rebase(policy: Rebase, due: float, done: float, interval: float, tolerance: float) -> float:
    """Return the next due point of one meter that was due at `due` and done at `done`.

    Policies that keep the slot (from due, never later) skip slots that had passed already on the day it was done: work just
    finished is never overdue.
    """
    if policy is Rebase.WINDOW and abs(done - due) <= tolerance + _ROUNDING:
        return due + interval
    if policy in {Rebase.FROM_DONE, Rebase.WINDOW} or (policy is Rebase.NEVER_LATER and done <= due):
        return done + interval
    missed = max(math.floor((done - due) / interval), 0)
    return due + (missed + 1) * interval


@dataclass(frozen=True)
class Slot:
    """A due date that remembers what it was counted from: `count` intervals of months and days after `anchor`."""

    anchor: date
    months: int
    days: int
    count: int = 1

    @property
    def on(self) -> date:
        """The date itself."""
        return add_days(add_months(self.anchor, self.months * self.count), self.days * self.count)

    def after(self, policy: Rebase, done: date, tolerance_days: int) -> "Slot":
        """Return the next slot once it was done on `done`. Kept slots stay on the anchor's day of the month."""
        kept = policy is Rebase.FROM_DUE or (policy is Rebase.NEVER_LATER and done > self.on)
        if policy is Rebase.WINDOW:
            kept = abs((done - self.on).days) <= tolerance_days
        if not kept or not (self.months or self.days):
            return Slot(done, self.months, self.days)
        count = self.count + 1
        # A window keeps the slot it was done for; the others skip the slots that had passed.
        while policy is not Rebase.WINDOW and done >= Slot(self.anchor, self.months, self.days, count).on < date.max:
            count += 1
        return Slot(self.anchor, self.months, self.days, count)


def rebase_date(policy: Rebase, due: date, done: date, tolerance_days: int, *, months: int = 0, days: int = 0) -> date:
    """Return the next due date, counted in calendar months and days from the point the policy chooses."""
    return Slot(due, months, days, 0).after(policy, done, tolerance_days).on
