"""Accepting an interval that the review proposed: for one part type, never longer where safety hangs on it, kept with why."""

import pytest

from services.interval_proposal import Lengthens
from tests import factories as make
from tests.factories import NOW
from tracker.actions import refusals
from tracker.actions.interval_proposals import accept_interval
from tracker.actions.steps import refresh_due
from tracker.models import DueLine, IntervalChange, ServiceInterval

pytestmark = pytest.mark.django_db
WHY = "Review: wear-out, replace at 6,000 km."


def accept(part_type, interval=6000.0, metric="km", **values) -> ServiceInterval:
    return accept_interval(
        part_type_id=part_type.pk, metric=metric, interval=interval, **{"why": WHY, "by": None, "now": NOW} | values
    )


def test_pieces_of_the_part_type_are_due_to_be_renewed_at_that_age():
    chain, other = make.ComponentFactory(state="fitted"), make.ComponentFactory(state="fitted")
    fitment = make.FitmentFactory(component=chain)
    make.FitmentFactory(component=other)
    make.OdometerReadingFactory(trike=fitment.trike, value=5000)
    row = accept(chain.part_type)
    assert (row.task, row.first_km, row.once, row.early_km) == ("chain_renewal", 6000, True, 300)
    fitment.trike.refresh_from_db()
    assert fitment.trike.due_dirty
    refresh_due([fitment.trike_id], NOW)
    line = DueLine.objects.get(task="chain_renewal")
    assert (line.component, line.due_life_km) == (chain, 6000)


def test_who_when_why_and_what_it_rests_on_are_kept():
    who, chain = make.UserFactory(), make.PartTypeFactory()
    row = accept(chain, by=who, makers_limit=8000, ground={"shape": 2.4})
    accept(chain, 5000.0, version=1)
    second, first = IntervalChange.objects.filter(interval=row)
    assert (first.changed_by, first.changed_at, first.why) == (who, NOW, WHY)
    assert first.ground == {"metric": "km", "makers_limit": 8000, "shape": 2.4}
    assert (second.before["first_km"], second.after["first_km"]) == (6000, 5000)


@pytest.mark.parametrize(
    ("metric", "field"), [("days", "first_days"), ("hours", "first_hours"), ("cycles", "first_cycles")]
)
def test_an_age_counts_in_its_own_unit_beside_what_stands(metric, field):
    battery = make.PartTypeFactory(kind="battery")
    accept(battery, 5000.0)
    row = accept(battery, 700.0, metric, version=1)
    assert (row.first_km, getattr(row, field)) == (5000, 700)


@pytest.mark.parametrize(("now", "maker"), [(4000.0, None), (None, 4000.0)])
def test_on_a_safety_part_it_is_never_lengthened(now, maker):
    brake = make.PartTypeFactory(kind="brake")
    version = accept(brake, now).version if now else 0
    with pytest.raises(Lengthens) as refusal:
        accept(brake, 4001.0, version=version, makers_limit=maker)
    assert refusal.value.field == "interval"
    assert list(ServiceInterval.objects.values_list("first_km", flat=True)) == ([4000] if now else [])


def test_who_looked_at_another_version_is_told():
    chain = make.PartTypeFactory()
    accept(chain)
    with pytest.raises(refusals.StaleVersion):
        accept(chain)
    assert ServiceInterval.objects.get().version == 1


@pytest.mark.parametrize(
    ("values", "field"),
    [({"interval": 0.0}, "interval"), ({"interval": float("nan")}, "interval"), ({"metric": "miles"}, "metric"),
     ({"why": " "}, "why"), ({"interval": 2e6}, "first_km")],
)  # fmt: skip
def test_what_cannot_be_set_names_its_field_and_changes_nothing(values, field):
    with pytest.raises(refusals.FieldInvalid) as refusal:
        accept(make.PartTypeFactory(), **values)
    assert refusal.value.field == field
    assert not ServiceInterval.objects.exists()


def test_a_frame_is_not_renewed_by_age():
    with pytest.raises(refusals.Invalid):
        accept(make.PartTypeFactory(kind="frame"))
