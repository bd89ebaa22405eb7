"""Rows of the record become lives: one part on one trike that runs 10 km a day from noon of 1 May 2025 on."""

from datetime import date, datetime, timedelta

import numpy as np
import pytest

from tests import factories as make
from tests.factories import DELIVERED
from tests.simulator.failing import failing_fleet, one_part
from tests.simulator.failing_rows import write_rows
from tracker.models import Failure, Trike
from tracker.queries.clock import noon
from tracker.queries.review_ground import read_ground
from tracker.queries.review_lives import fleet_lives

pytestmark = pytest.mark.django_db
UNTIL = date(2026, 5, 1)
START = noon(DELIVERED.date())
DAYS = 364.5  # from noon of 1 May 2025 to the start of 1 May 2026


def a_trike(**more) -> Trike:
    trike = make.TrikeFactory(**more)
    make.OdometerReadingFactory(trike=trike, read_at=START + timedelta(days=400), value=4000)
    return trike


def after(days: float) -> datetime:
    return START + timedelta(days=days)


def a_chain(trike: Trike, removed: float | None = None, fitted: float = -30.0, **component):
    made = make.ComponentFactory(state="fitted" if removed is None else "scrapped", **component)
    make.FitmentFactory(
        component=made, trike=trike, fitted_at=after(fitted), removed_at=None if removed is None else after(removed)
    )
    return made


def fails(component, trike: Trike, days: float, **more) -> None:
    told = {"mode": "breakage", "cause": "material", "found": "owner"} | more
    Failure.objects.create(component=component, trike=trike, happened_at=after(days), **told)


def lives(metric: str = "km"):
    (part,) = fleet_lives(read_ground(UNTIL), metric)
    return part


def test_what_still_runs_has_survived_until_the_end_of_the_last_full_month():
    a_chain(a_trike())
    part = lives()
    assert (part.failed[0], part.fitted[0], part.month[0]) == (False, True, -1)
    assert part.end[0] == pytest.approx(10 * DAYS, abs=0.1)
    assert lives("days").end[0] == pytest.approx(DAYS, abs=1e-6)  # days before the handover do not count


def test_a_failure_ends_the_life_where_it_happened():
    trike = a_trike()
    fails(a_chain(trike, removed=200.0), trike, 200.0)
    part = lives()
    assert (part.failed[0], part.fitted[0], part.mode[0]) == (True, False, "breakage")
    assert part.end[0] == pytest.approx(2000, abs=0.5)
    assert np.isnan(part.last_good[0])


def test_a_removal_without_a_failure_is_a_survival():
    a_chain(a_trike(), removed=200.0)
    part = lives()
    assert (part.failed[0], part.fitted[0]) == (False, False)
    assert part.end[0] == pytest.approx(2000, abs=0.5)


def test_an_accident_is_a_survival_and_counted_apart():
    trike = a_trike()
    fails(a_chain(trike, removed=200.0), trike, 200.0, cause="accident")
    part = lives()
    assert (part.failed[0], part.repairs[0], part.accidents[0]) == (False, 0, 1)


def test_what_came_with_a_known_life_is_watched_from_there_on():
    a_chain(a_trike(), life_before_km=1500.0)
    part = lives()
    assert (part.entry[0], part.known[0]) == (1500.0, True)
    assert part.end[0] == pytest.approx(1500 + 10 * DAYS, abs=0.1)
    assert not lives("days").known[0]  # nobody counted the days of its life before


def test_what_came_with_an_unknown_life_counts_in_the_rate_only():
    a_chain(a_trike(), life_before_km=None)
    part = lives()
    assert not part.known[0]
    assert part.run[0] == pytest.approx(10 * DAYS, abs=0.1)
    assert part.lives().parts == 0


@pytest.mark.parametrize("found", ["service", "inspection", "measurement"])
def test_what_was_found_by_looking_failed_since_the_look_before(found):
    trike = a_trike()
    chain = a_chain(trike, removed=200.0)
    make.CompletionFactory(component=chain, trike=trike, done_at=after(120.0))
    make.CompletionFactory(component=chain, trike=trike, done_at=after(200.0))  # the look that found it
    fails(chain, trike, 200.0, found=found)
    part = lives()
    assert part.last_good[0] == pytest.approx(1200, abs=0.5)
    assert part.end[0] == pytest.approx(2000, abs=0.5)


@pytest.mark.parametrize("found", ["owner", "breakdown", "test_ride", ""])
def test_what_somebody_noticed_failed_then(found):
    trike = a_trike()
    chain = a_chain(trike, removed=200.0)
    make.CompletionFactory(component=chain, trike=trike, done_at=after(120.0))
    fails(chain, trike, 200.0, found=found)
    assert np.isnan(lives().last_good[0])


def test_a_look_at_another_part_tells_nothing():
    trike = a_trike()
    make.CompletionFactory(trike=trike, done_at=after(120.0))
    fails(a_chain(trike, removed=200.0, part_type=make.PartTypeFactory(kind="chain")), trike, 200.0, found="service")
    assert np.isnan(lives().last_good[0])


def test_a_part_that_was_moved_keeps_its_life():
    one, other = a_trike(), a_trike()
    chain = a_chain(one, removed=100.0)
    make.FitmentFactory(component=chain, trike=other, fitted_at=after(150.0))
    fails(chain, other, 250.0)
    part = lives()
    assert part.end[0] == pytest.approx(2000, abs=0.5)
    assert part.machine[0] == other.pk
    assert lives("days").end[0] == pytest.approx(200.0, abs=1e-6)  # in the drawer no day counts


def test_of_several_failures_the_first_ends_the_life_and_all_are_repairs_of_the_position():
    trike = a_trike()
    chain = a_chain(trike)
    for days in (200.0, 100.0, 300.0):
        fails(chain, trike, days)
    part = lives()
    assert (part.repairs[0], part.fitted[0]) == (3, True)
    assert part.end[0] == pytest.approx(1000, abs=0.5)
    assert part.age[0] == pytest.approx(10 * DAYS, abs=0.1)
    assert sorted(part.streams.age) == pytest.approx([1000, 2000, 3000], abs=0.5)
    assert (part.streams.start[0], part.streams.end[0]) == pytest.approx((0, 10 * DAYS), abs=0.1)


def test_pieces_that_follow_each_other_in_a_position_are_one_stream():
    trike, kind = a_trike(), make.PartTypeFactory()
    fails(a_chain(trike, removed=100.0, part_type=kind), trike, 100.0)
    fails(a_chain(trike, fitted=100.0, removed=180.0, part_type=kind), trike, 180.0)
    a_chain(trike, fitted=180.0, part_type=kind)
    part = lives()
    assert sorted(part.end[part.failed]) == pytest.approx([800, 1000], abs=0.5)
    assert len(part.streams.end) == 1
    assert sorted(part.streams.age) == pytest.approx([1000, 1800], abs=0.5)


def test_a_failure_of_the_running_month_is_counted_apart():
    trike = a_trike()
    fails(a_chain(trike), trike, DAYS + 0.2)
    part = lives()
    assert (part.failed[0], part.running) == (False, 1)


@pytest.mark.parametrize(
    ("day", "back"), [(date(2026, 4, 30), 0), (date(2026, 4, 1), 0), (date(2026, 3, 31), 1), (date(2025, 5, 2), 11)]
)
def test_months_are_counted_back_from_the_last_full_one(day, back):
    trike = a_trike()
    Failure.objects.create(component=a_chain(trike), trike=trike, mode="wear", happened_at=noon(day))
    assert lives().month[0] == back


def test_a_stolen_trike_is_watched_until_that_day():
    a_chain(a_trike(stolen_on=date(2025, 8, 9)))  # the 100th day after 1 May
    part = lives("days")
    assert part.end[0] == pytest.approx(99.5)
    assert not part.fitted[0]


def test_what_failed_as_it_was_fitted_counts_from_one_km():
    trike = a_trike()
    fails(a_chain(trike), trike, -10.0)
    assert lives().end[0] == 1.0


def test_a_battery_is_told_in_cycles_where_its_meter_was_read():
    trike = a_trike()
    battery = make.ComponentFactory(part_type__kind="battery", state="fitted")
    make.FitmentFactory(component=battery, trike=trike, position="battery", fitted_at=START)
    for days, value in ((0.0, 0.0), (200.0, 40.0)):
        make.MeterReadingFactory(component=battery, value=value, read_at=after(days))
    fails(battery, trike, 100.0, mode="low_output")
    part = lives("cycles")
    assert (part.entry[0], part.failed[0]) == (0.0, True)
    assert part.end[0] == pytest.approx(20.0, abs=0.01)


def test_groups_come_from_the_piece_and_from_its_trike():
    a_chain(a_trike(model="Saltmarsh", severity=0.5), batch="K1", firmware="2.0", made_on=date(2024, 2, 3))
    groups = {name: labels[0] for name, labels in lives().groups.items()}
    assert groups == {
        "batch": "K1", "firmware": "2.0", "made_year": "2024", "model": "Saltmarsh", "severity": "on sand or gravel, or loaded",
    }  # fmt: skip


def test_the_arrays_of_the_record_are_the_lives_that_were_simulated():
    fleet = failing_fleet(7, trikes=40, kinds=("display", "chain"))
    kinds = write_rows(fleet)
    ground = read_ground(fleet.until)
    for metric in ("km", "days"):
        for part in fleet_lives(ground, metric):
            number = next(n for n, kind in kinds.items() if kind.pk == part.part_type)
            true = one_part(fleet, number, metric)
            assert part.failed.tolist() == true.failed.tolist()
            assert part.month.tolist() == true.month.tolist()
            # Moments are kept to the microsecond; a failure counts from one unit on at least.
            assert part.end == pytest.approx(np.maximum(true.end, part.failed), abs=2e-3)
            assert part.at_month == pytest.approx(true.at_month, abs=1.0)
            assert all(part.groups[name].tolist() == true.groups[name].tolist() for name in part.groups)


def test_a_larger_fleet_asks_no_more_queries(assert_flat_queries):
    trike = a_trike()
    fails(a_chain(trike), trike, 20.0, found="service")

    def grow() -> None:
        for _ in range(8):
            other = a_trike()
            chain = a_chain(other)
            make.CompletionFactory(component=chain, trike=other)
            make.MeterReadingFactory(component=chain)
            fails(chain, other, 30.0, found="service")

    assert_flat_queries(lambda: [fleet_lives(read_ground(UNTIL), metric) for metric in ("km", "days", "cycles")], grow)


def test_an_empty_record_has_no_lives():
    assert fleet_lives(read_ground(UNTIL), "km") == []
