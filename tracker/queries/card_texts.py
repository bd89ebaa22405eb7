"""What stands in a field of a draft, as one text: by it a page tells whether somebody else changed the field meanwhile."""

from typing import Any

from services.kinds import quantity
from services.units import KPA_PER_BAR, KPA_PER_PSI, roundest_pressure
from tracker.models import Measurement, OdometerReading


def typed_text(value: float, unit: str) -> str:
    """Return a reading as it was typed: '2110 km'."""
    return f"{plain(value)} {unit}"


def reading_text(reading: OdometerReading | None) -> str:
    """Return the card's reading as it was typed; '' without one, or when it was rejected."""
    if reading is None or reading.verdict == OdometerReading.Verdict.REJECTED:
        return ""
    return typed_text(float(reading.value), reading.unit)


def plain(value: float) -> str:
    """Return a number without needless zeros."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def measured_inputs(row: Measurement, known: dict[str, Any] | None = None) -> dict[str, str]:
    """Return a kept measurement as its form shows it: texts, pressures in the unit they were probably typed in.

    known: what the record tells beside the value; it needs no typing and is left out.
    """
    pressure = quantity(row.quantity).unit == "kPa"
    number, unit = roundest_pressure(row.value) if pressure else (plain(row.value), "")
    beside = {name: value for name, value in row.context.items() if (known or {}).get(name) != value}
    told = {name: _beside(name, float(value), unit) for name, value in beside.items()}
    return {"value": number, "unit": unit, **told, "instrument": row.instrument}


def _beside(name: str, value: float, unit: str) -> str:
    """What is noted beside a pressure is typed in its unit."""
    if not name.endswith("_kpa"):
        return plain(value)
    per = {"bar": KPA_PER_BAR, "psi": KPA_PER_PSI}.get(unit, 1.0)
    return plain(value / per)


def measured_text(row: Measurement) -> str:
    """Return a measurement as one text: value, unit, what stands beside it, the instrument."""
    unit = quantity(row.quantity).unit
    parts = [f"{plain(row.value)} {unit}".strip()]
    parts += [f"{name.replace('_', ' ')} {plain(float(value))}" for name, value in sorted(row.context.items())]
    return ", ".join([*parts, *([row.instrument] if row.instrument else [])])
