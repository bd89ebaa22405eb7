"""What holds in the record after every action, whatever it was."""

from datetime import datetime
from itertools import pairwise
from typing import Any

import pytest

from tracker.models import Component, Fitment, Trike
from tracker.queries import due, life, logbook
from tracker.queries.clock import day_of


def check_all(now: datetime) -> None:
    """Check the due list, the places, the logbook and the lives of the components."""
    the_due_list_is_what_a_rebuild_finds()
    a_component_sits_in_one_place_and_a_place_holds_one()
    the_logbook_verifies()
    life_is_conserved(now)


def the_due_list_is_what_a_rebuild_finds() -> None:
    """Trikes whose interval was changed wait, marked, for the sweep; every other line is right at once."""
    clean = Trike.objects.filter(due_dirty=False).values_list("pk", flat=True)
    assert due.rebuild_differences(clean) == []


def a_component_sits_in_one_place_and_a_place_holds_one() -> None:
    rows = list(Fitment.objects.order_by("fitted_at", "pk"))
    for name in ("component_id", "place"):
        ends: dict[Any, datetime | None] = {}
        for row in rows:
            key = (row.trike_id, row.position) if name == "place" else row.component_id
            assert key not in ends or (ends[key] is not None and ends[key] <= row.fitted_at), row
            ends[key] = row.removed_at
    sitting = {row.component_id for row in rows if row.removed_at is None}
    assert sitting == set(Component.objects.filter(state="fitted").values_list("pk", flat=True))


def the_logbook_verifies() -> None:
    assert list(logbook.broken_chains()) == []


def life_is_conserved(now: datetime) -> None:
    """What the components of a place ran there adds up to the trike's distance where the place was never empty."""
    rows = list(Fitment.objects.order_by("trike_id", "position", "fitted_at", "pk"))
    clocks = life.clocks_of(Trike.objects.values_list("pk", flat=True))
    runs = life.runs_of({row.component_id for row in rows}, clocks)
    until = day_of(now) + 1
    places: dict[tuple[int, str], list[Fitment]] = {}
    for row in rows:
        places.setdefault((row.trike_id, row.position), []).append(row)
    for (trike_id, position), held in places.items():
        if always_filled(held, clocks[trike_id].zero_day):
            ran = [
                runs[row.component_id].life_at(day_of(row.removed_at) if row.removed_at else until).km
                - runs[row.component_id].life_at(day_of(row.fitted_at)).km
                for row in held
            ]
            assert sum(ran) == pytest.approx(float(clocks[trike_id].life_at(until)), abs=1e-6), position


def always_filled(held: list[Fitment], zero_day: float) -> bool:
    """Whether a place was filled from the trike's first day until now, without a gap."""
    gapless = all(row.removed_at == after.fitted_at for row, after in pairwise(held))
    return gapless and held[-1].removed_at is None and day_of(held[0].fitted_at) < zero_day
