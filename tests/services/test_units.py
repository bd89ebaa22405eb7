"""Exact factors. Sources: NIST SP 811 Appendix B (factors in bold are exact), read in derived copies."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services import units
from services.units import UnknownUnit


@pytest.mark.parametrize(
    ("convert", "value", "expected"),
    [
        # Exact rationals are computed from 25.4 mm, 0.45359237 kg and 9.80665 m/s2 (NIST SP 811 B.8)
        (units.km_from_miles, 1.0, 1.609344),  # NIST SP 811 B.8; the unit file of pint
        (units.kpa_from_psi, 1.0, 6.894757293168361),  # pint and scipy.constants
        (units.kpa_from_psi, 150.0, 1034.2135939752542),  # exact rational
        (lambda bar: units.psi_from_kpa(units.kpa_from_bar(bar)), 10.0, 145.0377377302092),  # exact rational
        (units.psi_from_kpa, 101.325, 14.695948775513449),  # exact rational
        (units.lbf_in_from_newton_metres, 10.0, 88.5074579132718),  # calculated; a wheel maker page prints 88
        (units.lbf_in_from_newton_metres, 5.6, 49.5641764314322),  # calculated; the same page prints 50
        (units.newton_metres_from_lbf_in, 1.0, 0.1129848290276167),  # the unit data of a Ruby library
        (units.newton_metres_from_lbf_ft, 1.0, 1.3558179483314004),  # printed on a converter page
        (units.bar_from_kpa, 850.0, 8.5),  # exact: 1 bar is 100 kPa
        (units.miles_from_km, 4828.032, 3000.0),  # exact factor
    ],
)
def test_factors_are_those_of_nist_sp_811(convert, value, expected):
    assert convert(value) == pytest.approx(expected, rel=1e-12)


def test_an_interval_of_3000_miles_is_4828_km_and_a_bit():
    # interval printed by a hub owner; exact factor (NIST SP 811 B.8)
    assert units.exact_km_from_miles(Decimal(3000)) == Decimal("4828.032")
    assert units.to_km(3000.0, "mi") == pytest.approx(4828.032, abs=1e-9)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(68, 20.0), (70, 21.1111), (-40, -40.0)])
def test_fahrenheit_by_its_definition(fahrenheit, celsius):
    # definition: C = (F - 32) / 1.8; calculated
    assert units.celsius_from_fahrenheit(fahrenheit) == pytest.approx(celsius, abs=1e-4)


def test_a_wrong_digit_found_in_public_tables_is_not_ours():
    assert units.kpa_from_psi(1.0) != pytest.approx(6.8947448, rel=1e-7)


@given(st.decimals(min_value=0, max_value=10**6, places=3))
def test_miles_to_km_and_back_is_exact_in_decimal(miles):
    assert units.exact_miles_from_km(units.exact_km_from_miles(miles)) == miles


def test_twelve_thousand_miles_come_back_to_the_mile():
    # exact factor, in Decimal
    assert units.exact_miles_from_km(units.exact_km_from_miles(Decimal(12345))) == 12345


@given(st.floats(0, 1e6))
def test_arrays_convert_as_single_values_do(km):
    assert units.miles_from_km(np.array([km, km]))[1] == units.miles_from_km(km)


@pytest.mark.parametrize(("unit", "km"), [("km", 100.0), ("mi", 160.9344)])
def test_distances_are_taken_in_km_and_miles(unit, km):
    assert units.to_km(100.0, unit) == pytest.approx(km)


@pytest.mark.parametrize(("unit", "kpa"), [("kPa", 10.0), ("bar", 1000.0), ("psi", 68.94757293168361)])
def test_pressures_are_taken_in_three_units(unit, kpa):
    assert units.to_kpa(10.0, unit) == pytest.approx(kpa)


@pytest.mark.parametrize("convert", [units.to_km, units.to_kpa])
def test_an_unknown_unit_is_refused_by_field(convert):
    with pytest.raises(UnknownUnit) as refusal:
        convert(1.0, "furlong")
    assert refusal.value.field == "unit"
    assert refusal.value.remedy


def test_distances_are_said_with_thousands_apart_and_no_decimals():
    assert units.say_distance(5480.4) == "5,480 km"
    assert units.say_distance(5480.0, "mi") == "3,405 mi"


@pytest.mark.parametrize(("unit", "words"), [("psi", "150 psi"), ("bar", "10.3 bar"), ("kPa", "1,034 kPa")])
def test_pressures_are_said_in_the_readers_unit(unit, words):
    assert units.say_pressure(1034.2, unit) == words


@pytest.mark.parametrize(
    ("kpa", "shown"), [(1200.0, ("12", "bar")), (1034.2136, ("150", "psi")), (937.0, ("9.37", "bar"))]
)
def test_a_kept_pressure_is_shown_in_the_unit_it_was_probably_typed_in(kpa, shown):
    assert units.roundest_pressure(kpa) == shown  # 150 psi is 1034.2136 kPa, NIST SP 811
