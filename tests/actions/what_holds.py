"""What holds in the record after every action, whatever it was."""

from datetime import datetime
from itertools import pairwise
from typing import Any

import pytest

from tracker.models import Component, DueLine, Fitment, OutboxMessage, OwnerLink, Ownership, Trike, Visit
from tracker.queries import due, life, logbook
from tracker.queries.clock import day_of


def check_all(now: datetime) -> None:
    """Check the due list, the places, the logbook, the lives of the components and what is whose."""
    the_due_list_is_what_a_rebuild_finds()
    a_component_sits_in_one_place_and_a_place_holds_one()
    the_logbook_verifies()
    life_is_conserved(now)
    one_owner_at_a_time_and_nothing_left_of_the_others()
    a_retired_trike_carries_and_owes_nothing()
    nobody_is_asked_about_a_stolen_trike()


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
    """What the components of a place ran there adds up to what the trike ran while the place was filled."""
    rows = list(Fitment.objects.order_by("trike_id", "position", "fitted_at", "pk"))
    clocks = life.clocks_of(Trike.objects.values_list("pk", flat=True))
    runs = life.runs_of({row.component_id for row in rows}, clocks)
    until = day_of(now) + 1
    places: dict[tuple[int, str], list[Fitment]] = {}
    for row in rows:
        places.setdefault((row.trike_id, row.position), []).append(row)
    for (trike_id, position), held in places.items():
        clock = clocks[trike_id]
        ends = [(day_of(row.fitted_at), day_of(row.removed_at) if row.removed_at else until) for row in held]
        ran = [
            runs[row.component_id].life_at(end).km - runs[row.component_id].life_at(begin).km
            for row, (begin, end) in zip(held, ends, strict=True)
        ]
        filled = sum(_ran(clock, begin, end) for begin, end in _joined(ends))
        assert sum(ran) == pytest.approx(filled, abs=1e-6), (trike_id, position)
        if always_filled(held, clock.zero_day):
            assert sum(ran) == pytest.approx(float(clock.life_at(until)), abs=1e-6), position


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans that meet as one: the trike's own distance is then asked for over the whole of it."""
    joined: list[tuple[float, float]] = []
    for begin, end in spans:
        if joined and joined[-1][1] == begin:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined


def _ran(clock: life.TrikeClock, begin: float, end: float) -> float:
    """What the trike ran; who was on it before the handover ran what the display showed there too."""
    return _life(clock, end) - _life(clock, begin)


def _life(clock: life.TrikeClock, day: float) -> float:
    return float(clock.life_at(day)) if day >= clock.zero_day else 0.0


def always_filled(held: list[Fitment], zero_day: float) -> bool:
    """Whether a place was filled from the trike's first day until now, without a gap."""
    gapless = all(row.removed_at == after.fitted_at for row, after in pairwise(held))
    return gapless and held[-1].removed_at is None and day_of(held[0].fitted_at) < zero_day


def one_owner_at_a_time_and_nothing_left_of_the_others() -> None:
    """Ownerships follow one another; links that still open and reminders that wait are the present owner's."""
    last: dict[int, Ownership] = {}
    for row in Ownership.objects.order_by("trike_id", "since", "pk"):
        before = last.get(row.trike_id)
        assert before is None or before.until == row.since, row
        last[row.trike_id] = row
    present = {(row.trike_id, row.owner_id) for row in last.values() if row.until is None}
    links = OwnerLink.objects.filter(revoked_at__isnull=True).values_list("trike_id", "owner_id")
    waiting = OutboxMessage.objects.filter(state="waiting").values_list("trike_id", "owner_id")
    assert {*links, *waiting} <= present


def a_retired_trike_carries_and_owes_nothing() -> None:
    gone = Trike.objects.filter(state="retired")
    assert not Fitment.objects.current().filter(trike__in=gone).exists()
    assert not DueLine.objects.filter(trike__in=gone).exists()
    assert not Visit.objects.filter(trike__in=gone, state="open").exists()
    assert not OwnerLink.objects.filter(trike__in=gone, revoked_at__isnull=True).exists()


def nobody_is_asked_about_a_stolen_trike() -> None:
    stolen = Trike.objects.filter(stolen_on__isnull=False)
    assert not Visit.objects.filter(trike__in=stolen, state="open").exists()
    assert not OutboxMessage.objects.filter(trike__in=stolen, state="waiting", kind="reminder").exists()
