"""The words in which intervals are reckoned: a rule, points in a component's life, limits and what is due."""

from dataclasses import dataclass, replace
from datetime import date

from services.rebasing import Rebase

SEVERITY_FLOOR = 0.25


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One interval. None (or nought): that trigger is not used. `first_...` is the break-in, which happens once."""

    task: str
    title: str = ""
    verb: str = "Last done"
    first_km: float | None = None
    first_days: int | None = None
    first_hours: float | None = None
    first_cycles: float | None = None
    every_km: float | None = None
    every_months: int | None = None
    every_days: int | None = None
    every_hours: float | None = None
    every_cycles: float | None = None
    early_km: float = 0.0
    early_days: int = 14
    rebase: Rebase = Rebase.FROM_DONE
    safety: bool = False
    severity_applies: bool = True
    once: bool = False

    @property
    def has_first(self) -> bool:
        """Whether a break-in comes before the recurring interval."""
        return bool(self.first_km or self.first_days or self.first_hours or self.first_cycles)

    @property
    def opening(self) -> "Rule":
        """The rule that holds until it is done for the first time: the break-in where there is one.

        A trigger without a break-in of its own keeps the recurring interval, so that a trike which hardly runs still gets
        its first oil by the calendar.
        """
        if not self.has_first:
            return self
        by_days = self.first_days is not None
        return replace(
            self, every_km=self.first_km or self.every_km, every_hours=self.first_hours or self.every_hours,
            every_cycles=self.first_cycles or self.every_cycles, every_days=self.first_days if by_days else self.every_days,
            every_months=None if by_days else self.every_months,
        )  # fmt: skip

    def shortened(self, severity: float) -> "Rule":
        """Return the rule for hard use: distance, hours and cycles times `severity` (0.25 to 1), never the calendar."""
        factor = severity_factor(self, severity)
        names = ("first_km", "first_hours", "first_cycles", "every_km", "every_hours", "every_cycles")
        return replace(self, **{name: getattr(self, name) * factor for name in names if getattr(self, name)})


def severity_factor(rule: Rule, severity: float) -> float:
    """Return by what the distances of `rule` are multiplied; hard use shortens, nothing lengthens (own rule)."""
    return min(max(severity, SEVERITY_FLOOR), 1.0) if rule.severity_applies else 1.0


@dataclass(frozen=True)
class Point:
    """A point in the life of a component: a date and what its meters showed then (None: no such meter, or unknown)."""

    on: date
    km: float | None
    hours: float | None = None
    cycles: float | None = None


@dataclass(frozen=True)
class Limits:
    """Where each trigger falls due; None where it does not apply. `is_first`: this is the break-in."""

    on: date | None
    km: float | None
    hours: float | None
    cycles: float | None
    is_first: bool = False


@dataclass(frozen=True)
class Due:
    """The date it falls due (None: not within the horizon), what decided it, and the life in km at which it does."""

    on: date | None
    trigger: str | None
    km: float | None
