"""Whatever is done in whatever order: the due list, the places, the logbook and the lives stay right."""

import os
from collections import Counter

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests import factories as make
from tests.actions.random_workshop import Workshop
from tests.actions.workshop_machine import WorkshopMachine
from tracker.actions import schedule
from tracker.actions.reminders import run_sweep
from tracker.queries import due

pytestmark = pytest.mark.django_db

EXAMPLES = int(os.environ.get("WORKSHOP_EXAMPLES", "0"))  # other walks than the suite's, as many as asked for
WALKS, STEPS = EXAMPLES or 6, 30
MUST_HAVE_HAPPENED = {
    "record_reading", "decide_reading", "record_display_change", "record_meter", "fit_component", "remove_component",
    "register_trike", "change_trike", "report_occurrence", "open_card", "take_odometer", "set_task",
    "record_measurement", "plan_swap", "sign_release", "sign_card", "set_interval", "run_sweep",
}  # fmt: skip


def test_any_order_of_actions_keeps_the_record_right():
    workshop, tally = Workshop(), Counter()
    walks = settings(
        max_examples=WALKS, stateful_step_count=STEPS, deadline=None, derandomize=not EXAMPLES, database=None,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run_state_machine_as_test(lambda: WorkshopMachine(workshop, tally), settings=walks)
    print(f"{sum(tally.values())} actions: {sorted(tally.items())}")
    assert set(tally) >= MUST_HAVE_HAPPENED


def test_an_interval_that_moves_to_another_task_leaves_no_due_line_behind(now):
    interval = make.ServiceIntervalFactory()  # of a chain
    trike = make.FitmentFactory().trike
    run_sweep(now=now, everything=True)
    assert trike.due_lines.count() == 1
    values = {"task": "hub_oil_change", "part_kind": "hub_geared"}
    schedule.set_interval(values=values, interval_id=interval.pk, by=None, now=now)
    run_sweep(now=now)
    assert trike.due_lines.count() == 0
    assert due.rebuild_differences() == []
