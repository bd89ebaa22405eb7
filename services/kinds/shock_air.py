"""Air shock: pressure corrected for temperature with absolute pressures (ideal gas, rigid volume), air can and full service.

Atmosphere 101.325 kPa. Service hours differ between makers (air can 30 to 50 h, full 100 to 200 h, or a year): a setting.
Leak alarm: more than 5 % of the baseline in 30 days at 20 C (design rule, no source). Sag about 30 % of the stroke
(trike maker manual D: "around 30 %").
"""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict
from services.units import ATMOSPHERE_KPA

KELVIN = 273.15
REFERENCE_C = 20.0
LEAK_SHARE_PER_30_DAYS = 0.05
SAG_BAND_PCT = (25.0, 35.0)
LOW_SHARE = 0.85  # of the set pressure: top up (common practice, no source)
EMPTY_KPA = 50.0  # below this the shock carries nobody (common practice, no source)


def normalised_kpa(
    gauge_kpa: float, temp_c: float, ref_c: float = REFERENCE_C, atm_kpa: float = ATMOSPHERE_KPA,
    ref_atm_kpa: float = ATMOSPHERE_KPA,
) -> float:  # fmt: skip
    """Return the gauge pressure (kPa) the same air would show at `ref_c` (Gay-Lussac, absolute pressures)."""
    return (gauge_kpa + atm_kpa) * (ref_c + KELVIN) / (temp_c + KELVIN) - ref_atm_kpa


def leak_kpa_per_day(first_kpa: float, first_c: float, second_kpa: float, second_c: float, days: float) -> float:
    """Return the real loss (kPa a day) between two readings, each brought to 20 C."""
    return (normalised_kpa(first_kpa, first_c) - normalised_kpa(second_kpa, second_c)) / days


def is_leaking(baseline_kpa: float, loss_kpa_per_day: float) -> bool:
    """Return whether it loses more than 5 % of the baseline in 30 days."""
    return loss_kpa_per_day * 30 > LEAK_SHARE_PER_30_DAYS * baseline_kpa


def after_hose_kpa(gauge_kpa: float, can_cm3: float, hose_cm3: float) -> float:
    """Return what a hand pump shows after its empty hose shared the air (isothermal): low without any leak."""
    return gauge_kpa * can_cm3 / (can_cm3 + hose_cm3)


def atmosphere_kpa(altitude_m: float) -> float:
    """Return the standard atmosphere (kPa) at an altitude (ISA troposphere; formula from memory)."""
    return ATMOSPHERE_KPA * (1 - 2.25577e-5 * altitude_m) ** 5.25588


def sag_mm(free_mm: float, seated_mm: float) -> float:
    """Return sag (mm): the shock's length between its eyes without the rider less that with the rider seated."""
    return free_mm - seated_mm


def sag_pct(sag: float, stroke: float) -> float:
    """Return sag in per cent of the stroke (both in one unit)."""
    return sag / stroke * 100


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Pressure against the maximum and, where it is known, what was set; sag against 25 to 35 %."""
    return _judge_sag(value) if code == "shock_sag_pct" else _judge_pressure(value, rated, context)


def _judge_sag(value: float) -> Verdict:
    low, high = SAG_BAND_PCT
    if low <= value <= high:
        return Verdict("ok", f"{value:.0f} % sag - good: {low:g} to {high:g} %.", value, high)
    return Verdict("watch", f"{value:.0f} % sag - adjust the pressure: {low:g} to {high:g} %.", value, high)


def _judge_pressure(value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    at_20 = normalised_kpa(value, float(context["temperature_c"]))
    limit = float(rated["max_kpa"]) if rated.get("max_kpa") else None
    if limit is not None and value > limit:
        return Verdict("stop", f"{value:,.0f} kPa - let air out: maximum {limit:,.0f} kPa.", value, limit)
    if value < EMPTY_KPA:
        return Verdict("stop", f"{value:,.0f} kPa - hardly any air: fill it before riding.", value, limit)
    target = context.get("set_kpa")
    if target and at_20 < LOW_SHARE * float(target):
        return Verdict(
            "watch", f"{at_20:,.0f} kPa at 20 C - top up: set to {float(target):,.0f} kPa.", value, float(target)
        )
    return Verdict(
        "ok", f"{value:,.0f} kPa, that is {at_20:,.0f} kPa at 20 C - {'good' if target else 'noted'}.", value, limit
    )


KIND = ServiceKind(
    "shock_air", "Air shock",
    tasks=(
        Task("shock_air_check", "Shock air", "air_shock", 5, owner_can=True, asks=("shock_pressure", "shock_sag_pct"),
             verb="Last checked",
             plain="Check the shock's air with a shock pump and bring it back to your set pressure."),
        Task("shock_air_can_service", "Shock air can", "air_shock", 45, includes=("shock_air_check",),
             uses=("air can seal kit",),
             plain="We clean and grease the air can and renew its seals."),
        Task("shock_full_service", "Shock full service", "air_shock", 90, includes=("shock_air_can_service",),
             uses=("full seal kit", "damping oil"),
             plain="We take the shock apart, renew seals and damping oil."),
    ),
    quantities=(
        Quantity("shock_pressure", "Shock pressure", "kPa", 0, 3500, needs=("temperature_c",), instrument="shock pump",
                 takes=("set_kpa",)),
        Quantity("shock_sag_pct", "Sag", "%", 0, 100, instrument="ring on the shaft",
                 within=f"{SAG_BAND_PCT[0]:g} to {SAG_BAND_PCT[1]:g} %"),
    ),
    cautions=(
        "High air pressure: never above the maximum on the part; let all air out before opening it.",
        "A shock is opened by trained people only, as its maker says.",
    ),
    judge=judge,
)  # fmt: skip
