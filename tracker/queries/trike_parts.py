"""What sits where on a trike: every position with its part, the part's life, state and last measurements."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from services.life import Life
from services.part_state import PartState, state_of, state_without_part
from services.positions import POSITIONS
from tracker.models import DueLine, Fitment
from tracker.queries.clock import day_of, local_date
from tracker.queries.due import status_of
from tracker.queries.life import TrikeClock, runs_of
from tracker.queries.measured_series import Series, series_of


@dataclass(frozen=True)
class FittedPart:
    """A component in its position, with its life and what was measured last on it (None: nothing yet)."""

    fitment: Fitment
    life: Life
    state: PartState
    series: Series | None = None


@dataclass(frozen=True)
class Place:
    """A position, the part that sits there (None: nothing on record) and how it stands."""

    code: str
    title: str
    state: PartState
    part: FittedPart | None = None


def places_of(
    fitments: Iterable[Fitment], lines: Sequence[DueLine], now: datetime, clocks: dict[int, TrikeClock]
) -> list[Place]:
    """Return every position of a trike, in their order. `fitments`: its present ones with component and part type at hand.

    A part's state is what the bench owes it: what owners do themselves does not count.
    """
    here = {fitment.position: fitment for fitment in fitments}
    runs = runs_of((fitment.component_id for fitment in here.values()), clocks)
    series = series_of({row.component_id: row.component.part_type.rated for row in here.values()})
    due, day = _due_of(lines, local_date(now)), day_of(now)
    places = []
    for code, position in POSITIONS.items():
        fitment = here.get(code)
        if fitment is None:
            places.append(Place(code, position.title, state_without_part(serial_expected=position.serial_expected)))
            continue
        pk = fitment.component_id
        state = state_of(due[pk], _level(series.get(pk)))
        part = FittedPart(fitment, runs[pk].life_at(day), state, series.get(pk))
        places.append(Place(code, position.title, state, part))
    return places


def _due_of(lines: Sequence[DueLine], today: date) -> dict[int, list[tuple[str, date]]]:
    """Component -> (status, day) of what the bench owes it."""
    due: dict[int, list[tuple[str, date]]] = defaultdict(list)
    for line in lines:
        if not line.owner_can and line.due_on is not None:
            due[line.component_id].append((status_of(line, today), line.due_on))
    return due


def _level(series: Series | None) -> str:
    return series.level if series is not None and not series.put_right else ""
