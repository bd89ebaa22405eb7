"""Chain wear: elongation measured pin to pin over as many pitches as fit, under light tension.

Pitch 12.7 mm = 1/2 in exactly (ISO 606 short pitch; cycle chains ISO 9633). Limits: 0.5 % for 11 and 12 speeds and for
titanium or aluminium sprockets, 0.75 % for 5 to 10 speeds and mid-drive motors (tool maker text), 1.0 % for steel
sprockets with a hub gear (gauge text; hub-gear use from memory). Roller gauges add roller play and over-read.
"""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

PITCH_MM = 12.7
LIMIT_11_SPEED = 0.5
LIMIT_DERAILLEUR = 0.75
LIMIT_HUB_GEAR = 1.0
WARN_SHARE = 0.8  # of the limit: order a chain (common practice, no source)
RULE_READS_MM = 0.5  # what a steel rule can tell (common practice, no source)


def elongation_pct(length_mm: float, pitches: int) -> float:
    """Return elongation (%) of `pitches` pitches that measure `length_mm` pin to pin."""
    return (length_mm / (pitches * PITCH_MM) - 1) * 100


def limit_length_mm(pitches: int, limit_pct: float) -> float:
    """Return the length (mm) at which `pitches` pitches reach the limit."""
    return pitches * PITCH_MM * (1 + limit_pct / 100)


def resolution_pct(uncertainty_mm: float, pitches: int) -> float:
    """Return what a reading uncertainty means in elongation (%)."""
    return uncertainty_mm / (pitches * PITCH_MM) * 100


def per_link_pct(growth_mm: float) -> float:
    """Return elongation (%) from growth per link (mm), as some gauges are marked."""
    return growth_mm / PITCH_MM * 100


def gauge_interval(fits_pct: float, stops_pct: float) -> tuple[float, float]:
    """Return the half-open interval [fits, stops) that a go/no-go gauge tells. Raises ValueError if upside down."""
    if not fits_pct < stops_pct:
        raise ValueError("the go side must be smaller than the no-go side")
    return fits_pct, stops_pct


def trike_pitches(length_m: float) -> float:
    """Return how many pitches a chain of that length has; divided by a bicycle's 114 it tells how much longer it lasts."""
    return length_m * 1000 / PITCH_MM


def industrial_limit_pct(teeth: int) -> float:
    """Return the industrial upper bound 200/N for a sprocket of more than 66 teeth (ANSI B29.1, as cited by a maker)."""
    return 200 / teeth


def limit_pct(rated: Mapping[str, Any]) -> float:
    """Return the limit (%) of a chain: its part type's own, else by drivetrain and speeds."""
    if rated.get("limit_pct"):
        return float(rated["limit_pct"])
    if rated.get("drivetrain") == "hub_gear":
        return LIMIT_HUB_GEAR
    return LIMIT_11_SPEED if float(rated.get("speeds") or 9) >= 11 else LIMIT_DERAILLEUR


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """At or past the limit: replace. From four fifths of it, or where a rule could not tell them apart: soon.

    Judged as shown, to a hundredth of a per cent. `pitches` in the context is how many were measured over.
    """
    limit = limit_pct(rated)
    shown = round(value, 2)
    spread = resolution_pct(RULE_READS_MM, int(context["pitches"])) if "pitches" in context else 0.0
    read = f" Over {context['pitches']:g} pitches a rule reads it to {spread:.2f} %." if spread else ""
    if shown >= limit:
        return Verdict("replace", f"{shown:.2f} % - replace: limit {limit:g} %.{read}", value, limit)
    if shown >= WARN_SHARE * limit or shown + spread >= limit:
        return Verdict("soon", f"{shown:.2f} % - replace soon: limit {limit:g} %.{read}", value, limit)
    return Verdict("ok", f"{shown:.2f} % - good: limit {limit:g} %.{read}", value, limit)


KIND = ServiceKind(
    "chain_wear", "Chain wear",
    tasks=(
        Task("chain_check", "Chain check", "chain", 10, asks=("chain_elongation_pct",), verb="Last measured",
             plain="We measure how far the chain has worn. A worn chain wears the sprockets too."),
        Task("chain_clean", "Wash and lube the chain", "chain", 20, owner_can=True, uses=("chain lube", "rags"),
             plain="Wipe the chain, lube it sparingly, wipe again. Keep lube off the brakes."),
    ),
    quantities=(
        Quantity("chain_elongation_pct", "Chain elongation", "%", -0.3, 3.0, instrument="rule or calliper, pin to pin",
                 better="lower", takes=("pitches",)),
    ),
    cautions=("Keep fingers clear of chainring and sprockets; switch the motor off and take the battery out first.",),
    judge=judge,
)  # fmt: skip
