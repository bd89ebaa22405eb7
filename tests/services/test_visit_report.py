"""Trips saved and life wasted, counted by hand."""

from datetime import date, timedelta

import pytest

from services.visit_report import savings
from services.visits import PlannedVisit, VisitTask

DAY = date(2026, 5, 4)


def task(key, days, interval=None):
    due = DAY + timedelta(days=days)
    return VisitTask(key, due, due, interval_days=interval)


def visit(days, *keys):
    return PlannedVisit(DAY + timedelta(days=days), keys, 0, "")


def test_three_due_days_in_one_visit_save_two_trips_and_waste_the_days_before_each():
    tasks = {"a": [task("chain", 10, 100), task("oil", 30, 300), task("year", 40)]}
    told = savings(tasks, {"a": [visit(10, "chain", "oil", "year")]}, 365)
    assert (told.trips_alone, told.trips_planned, told.saved_per_owner_year) == (3, 1, 2.0)
    assert told.wasted_days == 0 + 20 + 30
    assert told.wasted_days_per_task == pytest.approx(50 / 3)
    assert told.wasted_share == pytest.approx(20 / 400)


def test_tasks_due_on_one_day_are_one_trip_and_lateness_is_no_waste():
    tasks = {"a": [task("chain", 10, 100), task("oil", 10, 100)], "b": [task("oil", 3, 100)]}
    told = savings(tasks, {"a": [visit(12, "chain", "oil")], "b": []}, 182.5)
    assert (told.trips_alone, told.trips_planned, told.saved_per_owner_year) == (1, 1, 0.0)
    assert told.wasted_days == 0


def test_a_fleet_without_plans_saves_and_wastes_nothing():
    told = savings({}, {}, 365)
    assert (told.saved_per_owner_year, told.wasted_days_per_task, told.wasted_share) == (0.0, 0.0, 0.0)


def test_a_span_of_no_days_is_refused():
    with pytest.raises(ValueError, match="span"):
        savings({}, {}, 0)
