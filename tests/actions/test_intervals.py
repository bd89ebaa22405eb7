"""Setting an interval: what it must say, and what it may not."""

import pytest

from tests import factories as make
from tests.factories import NOW
from tracker.actions import refusals
from tracker.actions.schedule import set_interval
from tracker.models import IntervalChange, ServiceInterval

pytestmark = pytest.mark.django_db
CHAIN = {"task": "chain_check", "part_kind": "chain"}


def put(**values) -> ServiceInterval:
    return set_interval(values=CHAIN | values, by=None, now=NOW)


def refused(kind: type[Exception], **values) -> str:
    """Return the field that a refused interval names; nothing is kept of it."""
    with pytest.raises(kind) as refusal:
        put(**values)
    assert not ServiceInterval.objects.exists()
    return refusal.value.field


def test_a_part_type_that_does_not_exist_is_refused():
    assert refused(refusals.Invalid, every_km=900, part_type_id=987654) == "part_type"


def test_a_part_type_of_another_kind_is_refused():
    battery = make.PartTypeFactory(kind="battery")
    assert refused(refusals.FieldInvalid, every_km=900, part_type_id=battery.pk) == "part_type"


def test_a_part_type_of_the_kind_gets_its_own():
    chain = make.PartTypeFactory(kind="chain")
    assert put(every_km=900, part_type_id=chain.pk).part_type == chain


def test_a_task_of_another_kind_of_part_is_refused():
    assert refused(refusals.FieldInvalid, every_km=900, part_kind="battery") == "part_kind"


@pytest.mark.parametrize(
    "name",
    ["every_km", "every_months", "every_days", "every_hours", "every_cycles",
     "first_km", "first_days", "first_hours", "first_cycles"],
)  # fmt: skip
@pytest.mark.parametrize("value", [0, -1, 1_000_001])
def test_a_limit_of_nought_or_less_or_beyond_a_million_is_refused(name, value):
    assert refused(refusals.FieldInvalid, **{"every_km": 900, name: value}) == name


def test_an_early_window_may_be_nought():
    assert put(every_km=900, early_km=0, early_days=0).early_days == 0


def test_once_without_any_limit_is_refused():
    assert refused(refusals.NotEnough, once=True) == "first_km"


@pytest.mark.parametrize("limit", ["first_km", "first_days", "every_km", "every_months"])
def test_once_with_any_limit_is_kept(limit):
    assert put(once=True, **{limit: 90}).once


def test_a_break_in_alone_does_not_say_how_it_goes_on():
    assert refused(refusals.NotEnough, first_km=500) == "every_km"


def test_a_refused_change_leaves_the_interval_as_it_was():
    row = put(every_km=900)
    with pytest.raises(refusals.FieldInvalid):
        set_interval(values={"every_km": 0}, interval_id=row.pk, version=row.version, by=None, now=NOW)
    row.refresh_from_db()
    assert (row.every_km, row.version) == (900, 1)


def test_what_an_interval_was_and_became_is_kept_with_who_when_and_why():
    who = make.UserFactory()
    row = put(every_km=1500, every_months=6)
    set_interval(
        values={"every_km": 900}, interval_id=row.pk, version=1, why="Chains were worn at 1,200 km.", by=who, now=NOW
    )
    changed, added = IntervalChange.objects.filter(interval=row)
    assert (changed.before, changed.after["every_km"]) == ({"every_km": 1500}, 900)
    assert (changed.why, changed.changed_by, changed.changed_at) == ("Chains were worn at 1,200 km.", who, NOW)
    assert (added.before, added.after["every_months"]) == ({}, 6)


def test_saving_an_interval_as_it_is_keeps_no_change():
    row = put(every_km=1500)
    set_interval(values={"every_km": 1500}, interval_id=row.pk, version=1, by=None, now=NOW)
    assert IntervalChange.objects.filter(interval=row).count() == 1
