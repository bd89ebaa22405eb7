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
WALKS, STEPS = EXAMPLES or 5, 25
MUST_HAVE_HAPPENED = {
    "record_reading", "decide_reading", "record_display_change", "record_meter", "fit_component", "remove_component",
    "register_trike", "change_trike", "report_occurrence", "open_card", "take_odometer", "set_task",
    "record_measurement", "plan_swap", "sign_release", "sign_card", "set_interval", "run_sweep",
    "pass_on", "report_stolen", "found_again", "retire_trike", "make_link", "amend_card", "change_owner", "sign_handover",
}  # fmt: skip


def test_every_rule_of_the_walk_does_what_it_is_there_for():
    """One walk by hand: chance alone would leave out some action sooner or later."""
    workshop, tally = Workshop(), Counter()
    machine = WorkshopMachine(workshop, tally)
    steps = [
        lambda: machine.ride(0, 30, 20.0),
        lambda: machine.decide(0, 0),
        lambda: machine.change_display(0, 0, 700.0, 0.0),
        lambda: machine.read_meter(0, "charge_cycles", 40, 0),
        lambda: machine.read_meter(1, "motor_hours", 40, 0),
        lambda: machine.report(0, "crash", 0),
        lambda: machine.set_interval(0, 700, 5, False),
        lambda: machine.sweep(True),
        lambda: machine.whole_job(1, [0, 1, 2], 0),
        lambda: machine.amend(0),
        lambda: machine.change_trike(0, {"severity": 0.5}),
        lambda: machine.change_owner(0, {"distance_unit": "mi"}),
        lambda: machine.pass_on(0, 1, 0, True, 20),
        lambda: machine.pass_on(1, 2, 2, False, None),
        lambda: machine.sweep(True),
        lambda: machine.ride(0, 60, 40.0),
        lambda: machine.steal_or_find(0, 0),
        lambda: machine.sweep(True),
        lambda: machine.steal_or_find(0, 0),
        lambda: machine.move(1, 1, 0),
        lambda: machine.hand_over(0, 0, 12.0),
        lambda: machine.build(0),
        lambda: machine.retire(1, 0, ["in_stock"] * 6),
        lambda: machine.sweep(True),
        lambda: machine.open_again(0),
        lambda: machine.fit(0, 0, 1, 0),
        lambda: machine.ride(1, 60, 40.0),
    ]
    for step in steps:
        step()
        machine.the_record_is_right()
    print(f"{sum(tally.values())} actions: {sorted(tally.items())}")
    assert set(tally) >= MUST_HAVE_HAPPENED


def test_any_order_of_actions_keeps_the_record_right():
    workshop, tally = Workshop(), Counter()
    walks = settings(
        max_examples=WALKS, stateful_step_count=STEPS, deadline=None, derandomize=not EXAMPLES, database=None,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run_state_machine_as_test(lambda: WorkshopMachine(workshop, tally), settings=walks)
    print(f"{sum(tally.values())} actions: {sorted(tally.items())}")


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
