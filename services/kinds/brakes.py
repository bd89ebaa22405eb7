"""Brakes: pad 0.5 mm of friction material (published); rotor as etched, usually 1.5 mm (tool maker's article).

Warn at 1.0 mm (common practice) or a third of the new pad (a mechanic's post). Bedding in: about 20 hard slow-downs
(common practice, no source).
"""

from collections.abc import Mapping
from typing import Any

from services.errors import ImpossibleMeasurement
from services.kinds.model import Quantity, ServiceKind, Task, Verdict

PAD_LIMIT_MM = 0.5
PAD_WARN_MM = 1.0
ROTOR_LIMIT_MM = 1.5


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Pad: at or below 0.5 mm replace. Rotor: below its minimum replace. Raises ImpossibleMeasurement: rotor of a drum."""
    return _judge_pad(value, rated) if code == "pad_mm" else _judge_rotor(value, rated)


def warn_pad_mm(rated: Mapping[str, Any]) -> float:
    """Return the pad (mm) from which new ones are ordered: 1.0 mm or a third of the new pad, whichever is more."""
    return max(PAD_WARN_MM, float(rated.get("new_pad_mm") or 0) / 3)


def _judge_pad(value: float, rated: Mapping[str, Any]) -> Verdict:
    if value <= PAD_LIMIT_MM:
        return Verdict("replace", f"{value:g} mm - replace: limit {PAD_LIMIT_MM:g} mm.", value, PAD_LIMIT_MM)
    if value <= warn_pad_mm(rated):
        return Verdict("soon", f"{value:g} mm - replace soon: limit {PAD_LIMIT_MM:g} mm.", value, PAD_LIMIT_MM)
    return Verdict("ok", f"{value:g} mm - good: limit {PAD_LIMIT_MM:g} mm.", value, PAD_LIMIT_MM)


def _judge_rotor(value: float, rated: Mapping[str, Any]) -> Verdict:
    if rated.get("kind") == "drum":
        raise ImpossibleMeasurement("A drum brake has no rotor.", field="value", remedy="Measure its lining instead.")
    limit = float(rated.get("min_rotor_mm") or ROTOR_LIMIT_MM)
    if value < limit:
        return Verdict("replace", f"{value:g} mm - replace the rotor: minimum {limit:g} mm.", value, limit)
    return Verdict("ok", f"{value:g} mm - good: minimum {limit:g} mm.", value, limit)


KIND = ServiceKind(
    "brakes", "Brakes",
    tasks=(
        Task("brakes_check", "Brake check", "brake", 15, safety=True, release=True, asks=("pad_mm", "rotor_mm"),
             verb="Last checked", plain="We measure pads and rotors and set the brakes so that both sides bite alike."),
    ),
    quantities=(
        Quantity("pad_mm", "Friction material", "mm", 0, 8, instrument="calliper", better="higher"),
        Quantity("rotor_mm", "Rotor thickness", "mm", 0.5, 4, instrument="micrometer", better="higher"),
    ),
    cautions=(
        "After any work on the brakes: test them standing, then at walking pace, before riding.",
        "Rotors get hot and are sharp; keep oil and fingers off them. New pads need bedding in.",
    ),
    judge=judge,
)  # fmt: skip
