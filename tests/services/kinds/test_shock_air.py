"""Air shock: printed pressure corrections, the traps, sag, leak and what a reading means."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.errors import ImpossibleMeasurement
from services.kinds import judge
from services.kinds.shock_air import (
    after_hose_kpa,
    atmosphere_kpa,
    is_leaking,
    leak_kpa_per_day,
    normalised_kpa,
    sag_mm,
    sag_pct,
)
from services.units import celsius_from_fahrenheit, kpa_from_psi, psi_from_kpa

RATED = {"max_kpa": 1900, "stroke_mm": 38}
INCH = 25.4


def psi_at(psi, from_c, to_c):
    return psi_from_kpa(normalised_kpa(kpa_from_psi(psi), from_c, to_c))


def test_a_tyre_of_35_psi_cools_from_70_to_30_f():  # a calculator page prints 31.25 psi
    assert psi_at(35, *map(celsius_from_fahrenheit, (70, 30))) == pytest.approx(31.25, abs=0.01)


@pytest.mark.parametrize(("hot_f", "printed"), [(50, 18.7), (130, 23.9)])  # a mailing list of 2002 prints both
def test_a_tyre_of_20_psi_at_70_f_at_other_temperatures(hot_f, printed):
    assert psi_at(20, *map(celsius_from_fahrenheit, (70, hot_f))) == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize(("to_c", "expected"), [(5, 141.573), (-10, 133.146), (35, 158.427)])  # calculated, ideal gas
def test_a_shock_of_150_psi_at_20_c_at_other_temperatures(to_c, expected):
    assert psi_at(150, 20, to_c) == pytest.approx(expected, abs=0.01)


def test_gauge_pressure_alone_would_be_wrong():  # calculated: the formula misused gives 142.325 psi
    misused = 150 * 278.15 / 293.15
    assert misused == pytest.approx(142.325, abs=0.01)
    assert psi_at(150, 20, 5) != pytest.approx(misused, abs=0.5)


def test_kilopascals_and_psi_agree():  # calculated: 1,034.2136 kPa at 20 C is 976.11 kPa or 141.573 psi at 5 C
    assert normalised_kpa(1034.2136, 20, 5) == pytest.approx(976.11, abs=0.01)
    assert psi_from_kpa(normalised_kpa(1034.2136, 20, 5)) == pytest.approx(141.573, abs=0.01)


def test_a_shock_parked_in_the_cold_has_hardly_leaked():  # calculated: 149.396 psi, loss 0.604 psi in 30 days
    assert psi_at(141, 5, 20) == pytest.approx(149.396, abs=0.01)
    loss = leak_kpa_per_day(kpa_from_psi(150), 20, kpa_from_psi(141), 5, 30)
    assert psi_from_kpa(loss) == pytest.approx(0.0201, abs=0.0005)
    assert not is_leaking(kpa_from_psi(150), loss)


def test_more_than_a_twentieth_in_thirty_days_is_a_leak():  # design rule, no source
    assert is_leaking(1000, 1.7)
    assert not is_leaking(1000, 1.6)


def test_a_sealed_shock_reads_higher_on_a_mountain():  # ISA at 1,500 m: 84.556 kPa, so +16.77 kPa or +2.432 psi
    assert atmosphere_kpa(1500) == pytest.approx(84.556, abs=0.01)
    gain = normalised_kpa(1000, 20, 20, ref_atm_kpa=atmosphere_kpa(1500)) - 1000
    assert gain == pytest.approx(16.77, abs=0.01)
    assert psi_from_kpa(gain) == pytest.approx(2.432, abs=0.01)


def test_an_empty_hose_takes_its_share_without_any_leak():  # derived: 150 psi, 60 and 3 cm3 give 142.857 psi
    assert after_hose_kpa(150, 60, 3) == pytest.approx(142.857, abs=0.01)


def test_sag_of_11_4_of_38_mm_is_in_the_band():  # trike maker manual D: around 30 %
    assert sag_pct(11.4, 38) == pytest.approx(30.0, abs=0.1)
    assert judge("shock_sag_pct", sag_pct(11.4, 38)).level == "ok"


def test_sag_by_subtraction():  # shock maker manual of 2008 prints 7.875 - 7.275 = 0.600 in
    assert sag_mm(7.875 * INCH, 7.275 * INCH) / INCH == pytest.approx(0.600, abs=1e-9)
    assert sag_pct(sag_mm(7.875, 7.275), 2.0) == pytest.approx(30.0)  # per cent of a 2 in stroke; calculated


@pytest.mark.parametrize("sag", [24.9, 35.1])
def test_sag_outside_25_to_35_per_cent_is_adjusted(sag):
    assert judge("shock_sag_pct", sag).level == "watch"


def test_above_the_maximum_on_the_part_air_is_let_out():
    verdict = judge("shock_pressure", 1901, rated=RATED, context={"temperature_c": 20})
    assert (verdict.level, verdict.words) == ("stop", "1,901 kPa - let air out: maximum 1,900 kPa.")


def test_a_shock_without_air_is_never_good():
    assert judge("shock_pressure", 0, rated=RATED, context={"temperature_c": 20}).level == "stop"


def test_without_a_set_pressure_a_reading_is_only_noted():
    words = judge("shock_pressure", 976.11, context={"temperature_c": 5}).words
    assert words == "976 kPa, that is 1,034 kPa at 20 C - noted."


def test_a_cold_reading_is_compared_at_20_c_with_what_was_set():
    assert judge("shock_pressure", 900, rated=RATED, context={"temperature_c": 5, "set_kpa": 1034}).level == "ok"
    low = judge("shock_pressure", 800, rated=RATED, context={"temperature_c": 5, "set_kpa": 1034})
    assert low.words == "849 kPa at 20 C - top up: set to 1,034 kPa."


def test_a_pressure_without_its_temperature_means_nothing():
    with pytest.raises(ImpossibleMeasurement, match="needs temperature c too") as caught:
        judge("shock_pressure", 1000)
    assert caught.value.field == "temperature_c"


@pytest.mark.parametrize("temperature", [-273.15, 300.0, float("nan")])
def test_a_temperature_no_workshop_has_is_refused(temperature):
    with pytest.raises(ImpossibleMeasurement) as caught:
        judge("shock_pressure", 1000, context={"temperature_c": temperature})
    assert caught.value.field == "temperature_c"


def test_a_pressure_no_pump_reaches_is_refused():
    with pytest.raises(ImpossibleMeasurement, match="between 0 and 3500 kPa"):
        judge("shock_pressure", 15_000, context={"temperature_c": 20})


@given(kpa=st.floats(0, 3500), there=st.floats(-40, 60), back=st.floats(-40, 60))
def test_warming_and_cooling_again_changes_nothing(kpa, there, back):
    assert normalised_kpa(normalised_kpa(kpa, there, back), back, there) == pytest.approx(kpa, abs=1e-6)
