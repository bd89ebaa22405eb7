"""Battery: health, cycles, ageing, the charge gate, quarantine."""

import pytest

from services.errors import ImpossibleMeasurement
from services.kinds import judge, kind
from services.kinds.battery_health import (
    calendar_loss_pct,
    days_to_loss,
    energy_wh,
    equivalent_full_cycles,
    may_charge,
    may_ship,
    next_state,
    state_of_health_pct,
)

PACK = {"rated_wh": 504, "nominal_v": 36}


def test_health_of_11_48_of_14_ah_is_82_per_cent_and_watched():  # definition: measured over rated
    assert state_of_health_pct(11.48, 14.0) == pytest.approx(82.0, abs=0.05)
    assert judge("battery_capacity_wh", energy_wh(36, 11.48), rated=PACK).level == "watch"


@pytest.mark.parametrize(
    ("health", "level"),  # 80 %: Energies 2019, 12, 2910; 70 %: an e-bike seller
    [(79.9, "soon"), (80.0, "watch"), (69.9, "replace"), (70.0, "soon"), (85.0, "ok")],
)
def test_health_thresholds(health, level):
    assert judge("battery_capacity_wh", 504 * health / 100, rated=PACK).level == level


def test_capacity_without_the_rated_energy_is_only_noted():
    assert judge("battery_capacity_wh", 400).words == "400 Wh - noted: the rated energy is not known."


def test_full_cycles_counted_one_way():  # a calculator page prints 1,850 MWh / 5 MWh = 370.00
    assert equivalent_full_cycles(1850, 5) == 370.00


def test_full_cycles_counted_both_ways_are_halved():  # charge throughput over twice the capacity
    assert equivalent_full_cycles(25_200, 504, both_directions=True) == 25.0
    assert equivalent_full_cycles(12_600, 504) == 25.0


def test_two_half_charges_are_one_cycle():  # e-bike maker help page
    assert equivalent_full_cycles(0.5 * 504 + 0.5 * 504, 504) == 1.0


def test_calendar_loss_grows_with_the_root_of_time():  # a note on electrode films prints 8.6 % after ten years
    assert calendar_loss_pct(2.5, 10, 120) == pytest.approx(8.660, abs=0.01)


@pytest.mark.parametrize(("model", "days"), [("linear", 2433.3), ("sqrt", 8111.1)])  # calculated
def test_two_models_from_the_same_loss_lie_far_apart(model, days):
    assert days_to_loss(6, 730, 20, model) == pytest.approx(days, abs=0.1)


def test_36_volt_and_14_ah_are_504_wh():  # definition
    assert energy_wh(36, 14) == 504


@pytest.mark.parametrize(("temp", "may"), [(-1, False), (0, True), (40, True), (41, False)])  # NFPA text: 0 to 40 C
def test_a_pack_is_charged_between_0_and_40_c(temp, may):
    assert may_charge(temp) is may


def test_a_swollen_pack_goes_to_quarantine_and_never_by_air():  # PHMSA interpretation 24-0050; 49 CFR 173.185(f)
    state = next_state("ok", damaged=True)
    assert state == "quarantine"
    assert not may_ship(state, "air")
    assert may_ship(state, "ground")
    assert may_ship("ok", "air")


def test_only_the_maker_leads_out_of_quarantine():
    assert next_state("quarantine") == "quarantine"
    assert next_state("quarantine", released_by_maker=True) == "watch"


def test_a_disposed_pack_stays_disposed():
    assert next_state("disposed", damaged=True, released_by_maker=True) == "disposed"


@pytest.mark.parametrize("count", [1, 8])
def test_any_sign_of_damage_stops_the_ride(count):
    verdict = judge("battery_damage_signs", count)
    assert verdict.level == "stop"
    assert "do not charge" in verdict.words


def test_a_pack_without_signs_is_fine():
    assert judge("battery_damage_signs", 0).level == "ok"


def test_the_cautions_say_what_a_damaged_pack_must_not_do():
    told = " ".join(kind("battery_health").cautions)
    assert all(
        word in told for word in ("swollen", "hot", "wet", "dropped", "do not charge", "outdoors", "trained people")
    )


def test_a_capacity_in_watt_seconds_is_refused():
    with pytest.raises(ImpossibleMeasurement, match="between 1 and 3600 Wh"):
        judge("battery_capacity_wh", 1_800_000, rated=PACK)
