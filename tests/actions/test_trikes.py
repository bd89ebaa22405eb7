"""Changing a trike: what follows at once, what stands in the logbook, and what is refused."""

import pytest

from services.identity import BadSerial
from tests import factories as make
from tests.factories import NOW
from tracker.actions import refusals
from tracker.actions.steps import refresh_due
from tracker.actions.trikes import change_trike
from tracker.models import DueLine, LogEntry, Trike

pytestmark = pytest.mark.django_db


@pytest.fixture
def trike() -> Trike:
    """A delivered trike with a chain that is checked every 1,500 km."""
    trike = make.TrikeFactory(plate="LT-1")
    make.FitmentFactory(trike=trike, component=make.ComponentFactory(state="fitted"))
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=1500, every_months=None)
    make.OdometerReadingFactory(trike=trike, value=1000)
    refresh_due([trike.pk], NOW)
    return trike


def change(trike: Trike, version: int | None = None, **changes) -> Trike:
    return change_trike(trike_id=trike.pk, version=version, changes=changes, by=make.UserFactory(), now=NOW)


def test_hard_use_brings_what_counts_by_distance_forward_at_once(trike):
    """1,500 km in sand and gravel (severity 0.5) are 750 km: DOMAIN rule of services.interval_rules.Rule.shortened."""
    assert DueLine.objects.get().due_life_km == pytest.approx(1500)
    change(trike, severity=0.5)
    assert DueLine.objects.get().due_life_km == pytest.approx(750)


def test_a_change_stands_in_the_logbook_with_before_and_after(trike):
    change(trike, severity=0.75, plate="lt 9")
    entry = LogEntry.objects.get(kind="trike_changed")
    assert entry.body == {"before": {"plate": "LT-1", "severity": 1.0}, "after": {"plate": "LT 9", "severity": 0.75}}
    assert entry.actor is not None


def test_what_stays_as_it_was_is_no_entry(trike):
    change(trike, severity=1.0, plate="LT-1", model=trike.model)
    assert not LogEntry.objects.filter(kind="trike_changed").exists()


def test_an_empty_plate_label_is_none_and_may_be_on_many_trikes(trike):
    other = make.TrikeFactory(plate=None)
    assert change(trike, plate="  ").plate is None
    assert change(other, plate=None).plate is None


def test_a_stale_version_is_refused(trike):
    change(trike, version=trike.version, model="Fenrunner 2")
    with pytest.raises(refusals.StaleVersion):
        change(trike, version=trike.version, model="Fenrunner 3")
    trike.refresh_from_db()
    assert trike.model == "Fenrunner 2"


@pytest.mark.parametrize("severity", [0, 0.24, 1.01, -1, float("nan"), float("inf"), "0.5", None, True])
def test_a_severity_outside_a_quarter_to_one_is_refused(trike, severity):
    with pytest.raises(refusals.FieldInvalid) as refusal:
        change(trike, severity=severity)
    assert refusal.value.field == "severity"
    assert not LogEntry.objects.exists()


def test_a_plate_label_in_use_is_refused_in_any_spelling(trike):
    make.TrikeFactory(plate="LT-2")
    with pytest.raises(refusals.SerialAlreadyKnown) as refusal:
        change(trike, plate=" lt-2 ")
    assert refusal.value.field == "plate"


def test_a_plate_label_with_what_cannot_be_seen_is_refused(trike):
    with pytest.raises(BadSerial):
        change(trike, plate="LT\u202e2")


@pytest.mark.parametrize(
    "name", ["frame_serial", "delivered_on", "odometer_zero_km", "due_dirty", "state", "stolen_on"]
)
def test_what_is_not_changed_by_hand_is_refused_by_name(trike, name):
    with pytest.raises(refusals.FieldNotChangeable) as refusal:
        change(trike, **{name: "x"})
    assert refusal.value.field == name
