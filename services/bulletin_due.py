"""When a bulletin's work falls due on a component, and the sentence that says why."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from services.due_words import say_date
from services.interval_rules import Due, Limits
from services.units import say_distance

# Days after which work without a deadline of its own is due: at once where somebody may be hurt (common practice, no source).
GRACE_DAYS = {"stop": 0, "mandatory": 30, "recommended": 180}


@dataclass(frozen=True)
class Terms:
    """By when a bulletin wants its work done. Distances in km of the component's own life."""

    severity: str
    is_hazard: bool = False
    deadline_on: date | None = None
    deadline_km: float | None = None
    every_months: int | None = None
    every_km: float | None = None

    @property
    def is_safety(self) -> bool:
        """Whether somebody may be hurt."""
        return self.is_hazard or self.severity == "stop"

    @property
    def is_repetitive(self) -> bool:
        """Whether the work falls due again once it is done."""
        return bool(self.every_months or self.every_km)


def first_due(terms: Terms, joined_on: date, joined_km: float | None) -> Limits | None:
    """Return by which day and by which life (km) the work is due the first time; None: it is for information only.

    joined_on, joined_km: the day the component came under the bulletin, and its life then. A deadline that passed before
    does not count from earlier: what joins late is due that day.
    """
    km = joined_km + terms.deadline_km if terms.deadline_km and joined_km is not None else None
    on = terms.deadline_on
    if on is None and (terms.is_safety or km is None):
        grace = 0 if terms.is_safety and not terms.deadline_km else GRACE_DAYS.get(terms.severity)
        on = None if grace is None else joined_on + timedelta(days=grace)
    if on is None and km is None:
        return None
    return Limits(max(on, joined_on) if on else None, km, None, None, True)


def sentence(facts: dict[str, Any], due: Due, today: date, now_km: float | None, unit: str = "km") -> str:
    """Return why the work is due, in one sentence that names the bulletin.

    facts: number, title, severity and certainty in words, done_on (ISO date of the last time) or None.
    """
    told = [f"Bulletin {facts['number']}: {facts['title'].rstrip('.')} ({facts['severity']})"]
    if facts["certainty"] != "affected":
        told.append("this part cannot be excluded: inspect it")
    if facts.get("done_on"):
        told.append(f"last done {say_date(date.fromisoformat(facts['done_on']))}, to be repeated")
    told.append(_when(due, today, now_km, unit))
    return f"{'; '.join(told)}."


def _when(due: Due, today: date, now_km: float | None, unit: str) -> str:
    at = f" at {say_distance(due.km, unit)}" if due.km is not None else ""
    now = f", now about {say_distance(now_km, unit)}" if at and now_km is not None else ""
    if due.on is None:
        return f"due{at}{now}, not as long as it is not ridden"
    return f"{'due' if due.on >= today else 'was due'} {say_date(due.on)}{at if due.trigger == 'km' else ''}{now}"
