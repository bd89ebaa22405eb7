"""Each measured quantity on the scale it wears by: limits of services/kinds, published check values."""

import math

import numpy as np
import pytest

from services.kinds import all_tasks, judge, quantity
from services.kinds.shock_air import atmosphere_kpa, normalised_kpa
from services.units import kpa_from_psi
from services.wear_kinds import WEAR_KINDS, Reading, chain_km_per_unit, chain_noise

RATED = {
    "chain_elongation_pct": {"drivetrain": "derailleur", "speeds": 9, "links": 299},
    "hardness_shore_a": {"shore_a": 65},
    "battery_capacity_wh": {"rated_wh": 504},
}
BESIDE = {"temperature_c": 20.0, "set_kpa": 1000.0, "new_height_mm": 25.0}


def limits(code, rated=None, **context):
    return WEAR_KINDS[code].limits(RATED.get(code, {}) if rated is None else rated, {**BESIDE, **context})


@pytest.mark.parametrize("code", sorted(WEAR_KINDS))
def test_the_scale_rises_with_wear_and_is_undone(code):
    kind, rated = WEAR_KINDS[code], RATED.get(code, {})
    warn, worn = kind.limits(rated, BESIDE)
    on_scale = kind.wear_limits(rated, BESIDE)
    assert on_scale[0] < on_scale[1]
    assert [kind.shown(wear, rated, BESIDE) for wear in on_scale] == pytest.approx([warn, worn])


@pytest.mark.parametrize("code", sorted(set(WEAR_KINDS) - {"tyre_tread_mm"}))
def test_every_kind_is_a_quantity_of_the_bench_and_says_its_unit(code):
    # tyre tread is no quantity of the bench yet
    unit = quantity(code).unit
    assert WEAR_KINDS[code].say.format(1.0).endswith(unit)


@pytest.mark.parametrize(
    ("code", "step"),
    [("chain_elongation_pct", 0.01), ("hardness_shore_a", 0.1), ("compression_set_pct", 0.1),
     ("free_height_mm", -0.1), ("battery_capacity_wh", -1.0), ("pad_mm", -0.05), ("rotor_mm", -0.01)],
)  # fmt: skip
def test_the_bench_judges_by_the_same_limit(code, step):
    worn = limits(code)[1]
    assert judge(code, worn + step, rated=RATED.get(code), context=BESIDE).level == "replace"
    assert judge(code, worn - step, rated=RATED.get(code), context=BESIDE).level != "replace"


@pytest.mark.parametrize(
    ("rated", "limit"),
    [({"speeds": 11}, 0.5), ({"speeds": 9}, 0.75), ({"drivetrain": "hub_gear"}, 1.0), ({"limit_pct": 0.8}, 0.8)],
)  # tool maker text; gauge text
def test_chain_limits_go_by_the_drive(rated, limit):
    assert limits("chain_elongation_pct", rated)[1] == limit


def test_a_longer_chain_wears_slower_in_proportion():
    # 2,500 km on a bicycle's 114 links are 6,562 km on 3.8 m of trike chain (manual D length; own derivation)
    assert 2500 / 1000 * chain_km_per_unit({"links": 299.2}) == pytest.approx(6562, abs=1)
    assert chain_km_per_unit({}) == 1000


def test_a_rule_over_more_pitches_errs_less():
    # it reads 0.5 mm: 0.164 % over 24 pitches, 0.0394 % over 100 (calculated), two standard deviations (assumption)
    assert chain_noise({"pitches": 24}) == pytest.approx(0.164 / 2, abs=0.0005)
    assert chain_noise({"pitches": 100}) == pytest.approx(0.0394 / 2, abs=0.0005)
    assert chain_noise({"pitches": 299}) == 0.015
    assert chain_noise({}) is None


def shock_wear(kpa, temp_c, set_kpa):
    return WEAR_KINDS["shock_pressure"].wear(kpa, {}, {"temperature_c": temp_c, "set_kpa": set_kpa})


def test_a_cold_shock_has_not_leaked():
    # 150 psi set at 20 C reads 141.573 psi at 5 C (calculated): nothing lost; uncorrected it would be 5.6 %
    assert shock_wear(kpa_from_psi(141.573), 5, kpa_from_psi(150)) == pytest.approx(0, abs=1e-5)


def test_a_small_leak_is_seen_through_the_cold():
    # 141 psi at 5 C is 149.396 psi at 20 C: 0.604 psi lost of 150 (calculated)
    assert shock_wear(kpa_from_psi(141), 5, kpa_from_psi(150)) == pytest.approx(-math.log(149.396 / 150), abs=1e-5)


@pytest.mark.parametrize(
    ("bar", "temp_c", "at_20"), [(10, 5, 10.594), (10, -5, 11.027), (4, 5, 4.270), (10, 35, 9.464)]
)  # a prototype's table, absolute law; the ratio on the gauge value alone gives 10.539, 10.932, 4.216, 9.513
def test_pressure_is_brought_to_20_degrees_by_absolute_values(bar, temp_c, at_20):
    assert normalised_kpa(100 * bar, temp_c) == pytest.approx(100 * at_20, abs=0.15)
    assert shock_wear(100 * bar, temp_c, 100 * bar) == pytest.approx(-math.log(at_20 / bar), abs=2e-4)


def test_the_air_pressure_of_a_height_is_isas():
    # 1.013 (1 - 2.2558e-5 H)^5.2559 bar (ISA, from memory): 84.556 kPa at 1,500 m
    assert atmosphere_kpa(1500) == pytest.approx(84.556, abs=0.01)


def test_an_emptied_shock_has_a_wear_too():
    assert np.isfinite(shock_wear(0, 20, 1000))


def test_a_block_of_25_mm_at_23_8_has_lost_4_8_per_cent():  # ASTM D395 method A, calculated
    kind = WEAR_KINDS["free_height_mm"]
    assert kind.wear(23.8, {}, {"new_height_mm": 25.0}) == pytest.approx(4.8)
    assert limits("free_height_mm") == pytest.approx((24.125, 23.75))


def test_a_battery_of_11_48_of_14_ah_has_lost_18_per_cent():  # definition; the check value is 82.0 % left
    assert WEAR_KINDS["battery_capacity_wh"].wear(11.48 * 36, {"rated_wh": 504}, {}) == pytest.approx(18.0)
    assert limits("battery_capacity_wh") == pytest.approx((403.2, 352.8))  # 80 and 70 % of 504 Wh


@pytest.mark.parametrize(("rated", "limit"), [({}, 1.5), ({"min_rotor_mm": 1.52}, 1.52)])  # tool maker's article
def test_a_rotor_goes_down_to_what_is_etched(rated, limit):
    assert limits("rotor_mm", rated)[1] == pytest.approx(limit)


def test_a_pad_is_new_as_the_catalogue_says():
    assert WEAR_KINDS["pad_mm"].wear(2.0, {"new_pad_mm": 3.6}, {}) == pytest.approx(1.6)
    assert limits("pad_mm", {"new_pad_mm": 3.6}) == pytest.approx(
        (1.2, 0.5)
    )  # a third of the new pad; 0.5 mm published


def test_what_must_be_known_beside_is_named():
    assert WEAR_KINDS["shock_pressure"].lacks({}, {"temperature_c": 0.0}) == ("set_kpa",)
    assert WEAR_KINDS["battery_capacity_wh"].lacks({}, {}) == ("rated_wh",)
    assert WEAR_KINDS["chain_elongation_pct"].lacks({}, {}) == ()


def test_a_reading_says_something():
    assert Reading(0.0, 0.4).ends == (0.4, 0.4)
    assert Reading(0.0, between=(0.5, 0.75)).ends == (0.5, 0.75)
    with pytest.raises(ValueError):
        _ = Reading(0.0).ends


def test_work_that_renews_is_done_on_the_part_that_is_measured_and_the_axis_is_days():
    tasks = {task.code: task for task in all_tasks()}
    for kind in WEAR_KINDS.values():
        on = {task.on for task in tasks.values() if kind.code in task.asks}
        assert {tasks[code].on for code in kind.renewed_by} <= on
        assert kind.axis == "days" or not kind.renewed_by  # days of work lie on no other axis
