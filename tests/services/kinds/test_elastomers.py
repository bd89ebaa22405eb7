"""Elastomers: compression set, ageing, grades, hardness, cracks and height."""

import pytest

from services.errors import ImpossibleMeasurement
from services.kinds import judge
from services.kinds.elastomers import (
    arrhenius_factor,
    compression_set_a,
    compression_set_b,
    grade_for_mass,
    life_years,
    q10_factor,
    strain_for_hardness_pct,
)

MEDIUM = {"grade": "medium", "shore_a": 65}


def test_compression_set_under_constant_deflection():  # ASTM D395 method B; calculated
    assert compression_set_b(25.0, 23.8, 18.75) == pytest.approx(19.2, abs=0.05)


def test_compression_set_under_constant_force():  # ASTM D395 method A; calculated
    assert compression_set_a(25.0, 23.8) == pytest.approx(4.8, abs=0.05)


@pytest.mark.parametrize(("irhd", "strain"), [(75, 25), (85, 15), (92, 10)])  # ISO 815-1 scope
def test_harder_rubber_is_tested_at_less_strain(irhd, strain):
    assert strain_for_hardness_pct(irhd) == strain


def test_thirty_degrees_more_age_eight_times_as_fast():  # accelerated-ageing page (ASTM F1980): 730 d become 91.25 d
    assert q10_factor(55, 25) == 8
    assert 730 / q10_factor(55, 25) == 91.25


def test_fifteen_degrees_more():  # calculated: 2 to the power 1.5
    assert q10_factor(35, 20) == pytest.approx(2.8284, abs=0.001)


@pytest.mark.parametrize(("energy", "factor"), [(50, 1.9243), (70, 2.500)])  # calculated with the exact gas constant
def test_arrhenius_from_25_to_35_c(energy, factor):
    assert arrhenius_factor(energy, 25, 35) == pytest.approx(factor, abs=0.001)


@pytest.mark.parametrize(
    ("kg", "grade"), [(64.9, "soft"), (65.0, "medium"), (89.9, "medium"), (90.0, "firm")]
)  # own design rule, invented defaults
def test_grade_bands_are_half_open(kg, grade):
    assert grade_for_mass(kg) == grade


@pytest.mark.parametrize("kg", [0, -70, 2000, float("nan")])
def test_a_mass_no_rider_has_is_refused(kg):
    with pytest.raises(ImpossibleMeasurement, match="20 and 250 kg"):
        grade_for_mass(kg)


def test_a_models_own_bands_are_used():
    assert grade_for_mass(80, ((100.0, "soft"), (float("inf"), "firm"))) == "soft"


def test_heat_and_sun_shorten_the_life_to_three_years():  # design rule, no source
    assert (life_years(), life_years(hot_or_sunny=True)) == (5, 3)


@pytest.mark.parametrize(
    ("shore", "level"), [(65, "ok"), (72, "ok"), (72.1, "soon"), (75, "soon"), (75.1, "replace"), (54.9, "replace")]
)
def test_hardness_may_drift_ten_shore_from_new(shore, level):
    assert judge("hardness_shore_a", shore, rated=MEDIUM).level == level


def test_hardness_without_the_new_value_is_only_noted():
    assert judge("hardness_shore_a", 70).words == "70 Shore A - noted: the new value is not known."


@pytest.mark.parametrize(("pct", "level"), [(19.2, "ok"), (20.0, "ok"), (20.1, "replace")])
def test_set_above_a_fifth_ends_it(pct, level):
    assert judge("compression_set_pct", pct).level == level


@pytest.mark.parametrize(("depth", "level"), [(0, "ok"), (1.0, "watch"), (1.1, "stop")])
def test_a_crack_deeper_than_a_millimetre_stops_the_ride(depth, level):
    assert judge("crack_depth_mm", depth).level == level


def test_height_lost_is_held_against_the_new_height():
    verdict = judge("free_height_mm", 23.8, context={"new_height_mm": 25.0})
    assert (verdict.level, verdict.value, verdict.words) == ("ok", 23.8, "4.8 % of its height lost - limit 5 %.")
    assert judge("free_height_mm", 23.7, context={"new_height_mm": 25.0}).level == "replace"


def test_a_height_needs_the_new_height():
    with pytest.raises(ImpossibleMeasurement) as caught:
        judge("free_height_mm", 23.8)
    assert caught.value.field == "new_height_mm"


def test_hardness_off_the_scale_is_refused():
    with pytest.raises(ImpossibleMeasurement, match="between 10 and 100 Shore A"):
        judge("hardness_shore_a", 650)
