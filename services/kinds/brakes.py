"""Brakes: pad 0.5 mm of friction material (published), warn at 1.0 mm (common practice); rotor as etched, usually 1.5 mm."""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

PAD_LIMIT_MM = 0.5
PAD_WARN_MM = 1.0
ROTOR_LIMIT_MM = 1.5


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Pad: at or below 0.5 mm replace. Rotor: below its minimum replace."""
    if code == "pad_mm":
        if value <= PAD_LIMIT_MM:
            return Verdict("replace", f"{value:g} mm - replace: limit {PAD_LIMIT_MM:g} mm.", value, PAD_LIMIT_MM)
        if value <= PAD_WARN_MM:
            return Verdict("soon", f"{value:g} mm - replace soon: limit {PAD_LIMIT_MM:g} mm.", value, PAD_LIMIT_MM)
        return Verdict("ok", f"{value:g} mm - good: limit {PAD_LIMIT_MM:g} mm.", value, PAD_LIMIT_MM)
    limit = float(rated.get("min_rotor_mm") or ROTOR_LIMIT_MM)
    if value < limit:
        return Verdict("replace", f"{value:.2f} mm - replace the rotor: minimum {limit:g} mm.", value, limit)
    return Verdict("ok", f"{value:.2f} mm - good: minimum {limit:g} mm.", value, limit)


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
