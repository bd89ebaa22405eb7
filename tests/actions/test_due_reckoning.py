"""From the record to a due day: what readings show passed, what measuring says, which trigger comes first."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tracker.actions.reminders import run_sweep
from tracker.models import DueLine

pytestmark = pytest.mark.django_db


@pytest.fixture
def chain(now):
    trike = make.OwnershipFactory().trike  # delivered 365 days before `now`
    part = make.ComponentFactory(part_type__kind="chain", state="fitted")
    make.FitmentFactory(trike=trike, component=part, position="chain")
    return part


def ridden(part, now, *points):
    """(days ago, km) readings of the trike it sits on."""
    for ago, km in points:
        make.OdometerReadingFactory(trike=part.fitments.get().trike, value=km, read_at=now - timedelta(days=ago))


def line_of(part, now, task="chain_check") -> DueLine:
    run_sweep(now=now, everything=True)
    return DueLine.objects.get(component=part, task=task)


def test_a_limit_that_readings_show_passed_is_dated_between_them_with_no_range(chain, now):
    make.ServiceIntervalFactory(every_km=1500, every_months=None)
    ridden(chain, now, (100, 1400), (80, 1600), (10, 2400))
    line = line_of(chain, now)
    assert abs((line.due_on - (now - timedelta(days=90)).date()).days) <= 1  # half way from 1,400 to 1,600 km
    assert line.likely_from == line.due_on == line.likely_until
    assert line.trigger == "km"


def test_a_further_reading_does_not_move_the_day_it_fell_due(chain, now):
    make.ServiceIntervalFactory(every_km=1500, every_months=None)
    ridden(chain, now, (100, 1400), (80, 1600))
    before = line_of(chain, now).due_on
    ridden(chain, now, (5, 4000))
    assert line_of(chain, now).due_on == before


def test_nothing_falls_due_before_its_interval_began(chain, now):
    make.ServiceIntervalFactory(every_km=1, every_months=None)
    ridden(chain, now, (100, 1400))
    line = line_of(chain, now)
    assert line.due_on >= chain.fitments.get().trike.delivered_on


def test_a_calendar_limit_before_the_distance_is_certain(chain, now):
    make.ServiceIntervalFactory(every_km=20_000, every_months=14)
    ridden(chain, now, (100, 300))
    line = line_of(chain, now)
    assert line.trigger == "date"
    assert line.likely_from == line.due_on == line.likely_until == date(2026, 7, 1)  # fourteen months after 1 May 2025


def test_where_both_may_come_first_the_calendar_ends_the_range(chain, now):
    make.ServiceIntervalFactory(every_km=3000, every_months=18)
    ridden(chain, now, (200, 800), (100, 1300), (5, 1900))
    line = line_of(chain, now)
    assert line.trigger == "km"
    assert line.likely_from < line.due_on < line.likely_until <= date(2026, 11, 1)


def test_a_trike_that_is_never_ridden_again_has_no_day_but_a_first_possible_one(chain, now):
    make.ServiceIntervalFactory(every_km=200_000, every_months=None)
    ridden(chain, now, (100, 300))
    line = line_of(chain, now)
    assert (line.due_on, line.likely_until, line.trigger) == (None, None, "")


@pytest.mark.parametrize(
    ("kind", "position", "task", "meter", "limit"),
    [
        ("motor", "motor", "motor_service", "motor_hours", {"every_hours": 400}),
        ("battery", "battery", "battery_capacity_test", "charge_cycles", {"every_cycles": 400}),
    ],
)
def test_a_meter_of_its_own_decides_where_the_interval_counts_it(now, kind, position, task, meter, limit):
    part = make.ComponentFactory(part_type__kind=kind, state="fitted")
    make.FitmentFactory(trike=make.OwnershipFactory().trike, component=part, position=position)
    make.ServiceIntervalFactory(task=task, part_kind=kind, every_km=None, every_months=None, **limit)
    for ago, value in ((240, 90), (120, 190), (3, 300)):
        make.MeterReadingFactory(component=part, meter=meter, value=value, read_at=now - timedelta(days=ago))
    line = line_of(part, now, task)
    assert line.trigger == ("hours" if meter == "motor_hours" else "cycles")
    assert now.date() < line.likely_from < line.due_on < line.likely_until


def test_hours_without_a_meter_come_from_the_distance_and_widen_the_range(now):
    part = make.ComponentFactory(part_type__kind="air_shock", state="fitted")
    trike = make.OwnershipFactory().trike
    make.FitmentFactory(trike=trike, component=part, position="rear-shock")
    ridden(part, now, (200, 700), (100, 1300), (5, 1900))
    spans = []
    for limit in (
        {"every_hours": 160.0},
        {"every_hours": None, "every_km": 160.0 * 18.7},
    ):  # 18.7 km/h: services/life.py
        values = {
            "task": "shock_air_can_service",
            "part_kind": "air_shock",
            "every_km": None,
            "every_months": None,
        } | limit
        interval = make.ServiceIntervalFactory(**values)
        line = line_of(part, now, "shock_air_can_service")
        spans.append(((line.likely_until - line.likely_from).days, line.trigger))
        interval.delete()
    assert [trigger for _, trigger in spans] == ["hours", "km"]
    assert spans[0][0] > spans[1][0]
