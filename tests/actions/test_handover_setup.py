"""The handover keeps what was proposed beside what was set, stops at makers' limits and names what is missing."""

import pytest

from tests import factories as make
from tests.factories import NOW
from tracker.actions.build_lists import Line, add_build_list
from tracker.actions.handovers import PartsMissing, SetTo, hand_over
from tracker.actions.refusals import FieldInvalid, NotEnough
from tracker.models import Handover, LogEntry
from tracker.queries.rider_setup import fitted_for_setup

pytestmark = pytest.mark.django_db
SHOCK = {"max_kpa": 1725, "stroke_mm": 38, "start_table": [[75, 950], [95, 1130], [115, 1320]]}


@pytest.fixture
def trike():
    trike = make.TrikeFactory(model="Fenwalk", state="in_build", delivered_on=None)
    carry(trike, "frame", "frame", name="Fenwalk 26 frame", rated={"max_system_kg": 150})
    carry(trike, "air_shock", "rear-shock", name="Air shock", rated=SHOCK)
    return trike


def carry(trike, kind: str, position: str, **values):
    component = make.ComponentFactory(part_type=make.PartTypeFactory(kind=kind, **values), state="fitted")
    make.FitmentFactory(trike=trike, component=component, position=position)
    return component


def hand(trike, checks=(("Brakes hold", True, ""),), without_missing=False, **set_to) -> Handover:
    return hand_over(
        trike_id=trike.pk, owner_id=make.OwnerFactory().pk, handed_over_on=NOW.date(), reading_km=1, checks=checks,
        set_to=SetTo(**set_to), without_missing=without_missing, built_by=make.UserFactory(), now=NOW,
    )  # fmt: skip


def test_what_was_proposed_stands_beside_what_was_set(trike):
    row = hand(trike, rider_mass_kg=70, system_mass_kg=95, shock_pressure_kpa=1100, sag_mm=9.5, elastomer_grade="soft")
    assert (row.system_mass_kg, row.sag_mm, row.shock_pressure_kpa) == (95, 9.5, 1100)
    assert (row.suggested["grade"], row.suggested["pressure_kpa"], row.suggested["sag_pct"]) == ("medium", 1130, 25)


def test_the_logbook_seals_what_was_set(trike):
    hand(trike, system_mass_kg=95, sag_mm=9.5)
    body = LogEntry.objects.get(kind="handover_built").body
    assert (body["system_mass_kg"], body["sag_mm"], body["checks"]) == (95, 9.5, [["Brakes hold", True]])
    assert "missing" not in body


def test_the_makers_of_the_elastomers_win_over_the_default_bands(trike):
    for grade, low, high in (("soft", 50, 90), ("firm", 90, 150)):
        rated = {"grade": grade, "shore_a": 60, "from_kg": low, "below_kg": high}
        part_type = make.PartTypeFactory(kind="elastomer", maker="Peatmarsh", rated=rated)
    make.FitmentFactory(
        trike=trike, component=make.ComponentFactory(part_type=part_type, state="fitted"), position="elastomer-left"
    )
    make.PartTypeFactory(kind="elastomer", maker="Other", rated=rated | {"grade": "medium"})
    assert hand(trike, rider_mass_kg=60, system_mass_kg=95).suggested["grade"] == "firm"


def test_without_elastomers_all_makers_are_asked_and_without_parts_nothing_is_known():
    rated = {"grade": "soft", "shore_a": 60, "from_kg": 50, "below_kg": 90}
    make.PartTypeFactory(kind="elastomer", rated=rated)
    found = fitted_for_setup(make.TrikeFactory().pk)
    assert [row.grade for row in found.ranges] == ["soft"]
    assert (found.shock, found.frame, found.max_system_kg, found.grades) == (None, "", None, ())


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("system_mass_kg", {"system_mass_kg": 150.5}),  # above the frame's limit
        ("shock_pressure_kpa", {"shock_pressure_kpa": 1726}),  # above the shock's maximum
        ("system_mass_kg", {"system_mass_kg": 29}),
        ("sag_mm", {"sag_mm": -1}),
        ("sag_mm", {"sag_mm": 151}),
        ("rider_mass_kg", {"rider_mass_kg": 19}),
        ("toe_in_mm", {"toe_in_mm": 11}),
    ],
)
def test_what_is_implausible_or_beyond_a_limit_is_refused_beside_its_field(trike, field, values):
    with pytest.raises(FieldInvalid) as refusal:
        hand(trike, **values)
    assert refusal.value.field == field
    assert not Handover.objects.exists()


def test_required_parts_that_are_missing_are_named_until_somebody_says_so(trike):
    add_build_list(model="fenwalk", lines=[Line("frame"), Line("seat"), Line("rack", None, False)], by=None, now=NOW)
    with pytest.raises(PartsMissing) as refusal:
        hand(trike)
    assert refusal.value.facts["missing"] == ["seat"]
    assert "requires: seat" in refusal.value.message
    assert hand(trike, without_missing=True).trike == trike
    assert LogEntry.objects.get(kind="handover_built").body["missing"] == ["seat"]


def test_a_failed_or_empty_final_check_is_not_signed(trike):
    for checks in ((), (("Brakes hold", False, "soft"),)):
        with pytest.raises(NotEnough):
            hand(trike, checks=checks)
