"""Elastomers: hardness (Shore A, ISO 48-4 / ASTM D2240, numbers from memory), compression set (ASTM D395), age.

Replace on: hardness more than 10 Shore A from new, set above 20 % of the deflection, a crack deeper than 1 mm or through a
bond, age above 5 years (3 if hot or in the sun). Design rules, no source. Record grade and date here: paint dots rub off.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from services.errors import ImpossibleMeasurement
from services.kinds.model import Quantity, ServiceKind, Task, Verdict

GAS_CONSTANT = 8.314462618  # J/(mol K), exact since 2019
HARDNESS_DRIFT = 10.0
CRACK_LIMIT_MM = 1.0
HEIGHT_LOSS_LIMIT_PCT = 5.0
LIFE_YEARS, HOT_LIFE_YEARS = 5, 3
RIDER_KG = (20.0, 250.0)  # plausible, to keep slips out
SET_LIMIT_PCT = 20.0
DEFAULT_GRADES = ((65.0, "soft"), (90.0, "medium"), (math.inf, "firm"))  # below this rider mass (kg): invented defaults


def compression_set_b(t0_mm: float, ti_mm: float, tn_mm: float) -> float:
    """Return the set (%) after constant deflection, method B: part of the deflection that stays (ASTM D395)."""
    return (t0_mm - ti_mm) / (t0_mm - tn_mm) * 100


def compression_set_a(t0_mm: float, ti_mm: float) -> float:
    """Return the set (%) under constant force, method A: part of the height that is lost (ASTM D395)."""
    return (t0_mm - ti_mm) / t0_mm * 100


def strain_for_hardness_pct(hardness_irhd: float) -> float:
    """Return the strain (%) of a compression-set test for that hardness (ISO 815-1 scope)."""
    return 25.0 if hardness_irhd < 80 else 15.0 if hardness_irhd < 90 else 10.0


def q10_factor(hot_c: float, cool_c: float, q10: float = 2.0) -> float:
    """Return how much faster ageing runs (ASTM F1980 form; 2 is a convention)."""
    return q10 ** ((hot_c - cool_c) / 10)


def arrhenius_factor(activation_kj_mol: float, cool_c: float, hot_c: float) -> float:
    """Return how much faster ageing runs by Arrhenius (ISO 11346)."""
    return math.exp(activation_kj_mol * 1000 / GAS_CONSTANT * (1 / (cool_c + 273.15) - 1 / (hot_c + 273.15)))


def grade_for_mass(kg: float, bands: Sequence[tuple[float, str]] = DEFAULT_GRADES) -> str:
    """Return the grade for a rider's mass; bands are half-open, so 65.0 kg is medium. Raises ImpossibleMeasurement."""
    if not RIDER_KG[0] <= kg <= RIDER_KG[1]:
        low, high = RIDER_KG
        raise ImpossibleMeasurement(
            f"A rider weighs between {low:g} and {high:g} kg.", field="kg", remedy="Check the value."
        )
    return next(grade for below, grade in bands if kg < below)


def life_years(*, hot_or_sunny: bool = False) -> int:
    """Return how old an elastomer may get (years): 5, or 3 where it is hot or in the sun (design rule, no source)."""
    return HOT_LIFE_YEARS if hot_or_sunny else LIFE_YEARS


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Hardness against new, set against 20 %, height lost against 5 %, a crack against 1 mm."""
    if code == "compression_set_pct":
        return _against(value, f"{value:.1f} % set", SET_LIMIT_PCT, "%")
    if code == "crack_depth_mm":
        return _against(value, f"crack {value:g} mm deep", CRACK_LIMIT_MM, "mm", past="stop")
    if code == "free_height_mm":
        lost = compression_set_a(float(context["new_height_mm"]), value)
        verdict = _against(lost, f"{lost:.1f} % of its height lost", HEIGHT_LOSS_LIMIT_PCT, "%")
        return replace(verdict, value=value)
    return _judge_hardness(value, rated)


def _against(value: float, words: str, limit: float, unit: str, past: str = "replace") -> Verdict:
    if value > limit:
        return Verdict(past, f"{words} - replace: limit {limit:g} {unit}.", value, limit)
    return Verdict("watch" if past == "stop" and value else "ok", f"{words} - limit {limit:g} {unit}.", value, limit)


def _judge_hardness(value: float, rated: Mapping[str, Any]) -> Verdict:
    new = rated.get("shore_a")
    if not new:
        return Verdict("watch", f"{value:.0f} Shore A - noted: the new value is not known.", value)
    drift = value - float(new)
    words = f"{value:.0f} Shore A, {drift:+.0f} from new"
    if abs(drift) > HARDNESS_DRIFT:
        return Verdict(
            "replace", f"{words} - replace: limit 10 from {float(new):g}.", value, float(new) + HARDNESS_DRIFT
        )
    if abs(drift) > 0.7 * HARDNESS_DRIFT:
        return Verdict(
            "soon", f"{words} - replace soon: limit 10 from {float(new):g}.", value, float(new) + HARDNESS_DRIFT
        )
    return Verdict("ok", f"{words} - good.", value, float(new) + HARDNESS_DRIFT)


KIND = ServiceKind(
    "elastomers", "Elastomers",
    tasks=(
        Task("elastomer_inspection", "Elastomer inspection", "elastomer", 10, safety=True,
             asks=("crack_depth_mm", "hardness_shore_a", "free_height_mm", "compression_set_pct"), verb="Last inspected",
             plain="We look for cracks in the rubber springs and measure whether they have hardened."),
    ),
    quantities=(
        Quantity("hardness_shore_a", "Hardness", "Shore A", 10, 100, instrument="durometer"),
        Quantity("compression_set_pct", "Compression set", "%", 0, 100, instrument="calliper, 30 min unloaded",
                 better="lower"),
        Quantity("crack_depth_mm", "Deepest crack", "mm", 0, 50, instrument="depth gauge; 0 for none", better="lower",
                 within=f"none; stop past {CRACK_LIMIT_MM:g} mm"),
        Quantity("free_height_mm", "Free height", "mm", 2, 200, needs=("new_height_mm",),
                 instrument="calliper, 30 min unloaded", better="higher"),
    ),
    cautions=("A cracked elastomer can let the suspension arm go: do not ride until it is replaced.",),
    judge=judge,
)  # fmt: skip
