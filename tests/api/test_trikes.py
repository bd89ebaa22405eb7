"""Changing a trike over the API."""

import pytest

from tests import factories as make
from tests.api.conftest import faults, machine, part_at, problem
from tracker.actions.steps import refresh_due
from tracker.models import LogEntry


def test_a_trike_changes_under_its_entity_tag_only(desk, trike):
    address = f"trikes/{trike.pk}"
    problem(desk.patch(address, {"severity": 0.5}), 428, "precondition-required")
    changed = desk.patch(address, {"severity": 0.5, "plate": "lt 9"}, If_Match='"1"')
    assert (changed.json()["severity"], changed.json()["plate"], changed["ETag"]) == (0.5, "LT 9", '"2"')
    problem(desk.patch(address, {"severity": 0.75}, If_Match='"1"'), 412, "precondition-failed")


def test_its_due_lines_follow_at_once(desk, trike):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=1500, every_months=None)
    make.OdometerReadingFactory(trike=trike, value=1000)
    refresh_due([trike.pk], make.NOW)
    before = desk.get("due-lines", trike=trike.pk).json()["results"][0]["due_life_km"]
    desk.patch(f"trikes/{trike.pk}", {"severity": 0.5}, If_Match="*")
    after = desk.get("due-lines", trike=trike.pk).json()["results"][0]["due_life_km"]
    assert (before, after) == (pytest.approx(1500), pytest.approx(750))
    assert part_at(trike, "chain").pk == desk.get("due-lines", trike=trike.pk).json()["results"][0]["component"]


@pytest.mark.parametrize("severity", [0.2, 1.1, "0.5", None, True])
def test_a_severity_that_is_none_is_refused_by_pointer(desk, trike, severity):
    answer = desk.patch(f"trikes/{trike.pk}", {"severity": severity}, If_Match="*")
    assert answer.status_code in {400, 422}
    assert list(faults(answer.json())) == ["/severity"]


def test_a_plate_in_use_is_a_conflict(desk, trike):
    make.TrikeFactory(plate="LT-2")
    answer = problem(desk.patch(f"trikes/{trike.pk}", {"plate": "lt-2"}, If_Match="*"), 409, "serial-already-known")
    assert faults(answer) == {"/plate": "serial-already-known"}


def test_a_trike_is_not_retired_by_a_change(desk, trike):
    problem(desk.patch(f"trikes/{trike.pk}", {"state": "retired"}, If_Match="*"), 400, "invalid-body")


def test_what_a_key_changed_is_told_as_coming_from_another_system(trike):
    machine("fleet:write").patch(f"trikes/{trike.pk}", {"model": "Fenrunner 2"}, If_Match="*")
    entry = LogEntry.objects.get(kind="trike_changed")
    assert (entry.source, entry.actor) == ("api", None)
