"""Rider set-up at handover: system mass, elastomer grade, the shock's starting pressure, sag.

System mass is rider, luggage and trike together: what a maker's tables and limits go by. The default grade bands go by
the rider with gear (own design rule, no source) and hold only where the makers' own values say nothing. A pressure comes
from the shock's own table alone: between its rows in a straight line, never beyond them, never above its maximum.
Sag: the band of the bench (services/kinds/shock_air), at handover as later; makers differ: 15-25, 20-30, about 30.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from services.kinds.elastomers import DEFAULT_GRADES, RIDER_KG, grade_for_mass
from services.kinds.shock_air import SAG_BAND_PCT, sag_pct
from services.units import say_pressure

SAG_TARGET = f"{SAG_BAND_PCT[0]:g} to {SAG_BAND_PCT[1]:g} %"
SAG_NOTE = "Makers differ, from 15 to 35 %: theirs comes first."
DEFAULT_RULE = "own design rule, no source"
CAUTION = "The makers' limits for rider and system mass, pressure and tyres come first: what goes beyond one is not handed over."


@dataclass(frozen=True)
class Shock:
    """What the type of the fitted shock says: kPa gauge, mm, rows of (system mass kg, kPa)."""

    name: str
    max_kpa: float | None = None
    stroke_mm: float | None = None
    table: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class GradeRange:
    """The system mass a type of elastomer is made for: from (included) and below (not included), kg."""

    grade: str
    from_kg: float
    below_kg: float
    name: str


@dataclass(frozen=True)
class Fitted:
    """What bears on the set-up of one trike."""

    shock: Shock | None = None
    grades: tuple[str, ...] = ()  # of the elastomers that are fitted
    ranges: tuple[GradeRange, ...] = ()
    frame: str = ""
    max_system_kg: float | None = None


@dataclass(frozen=True)
class Suggestion:
    """One proposed value, why, and '' with the reason where there is none."""

    value: float | str | None
    words: str


def system_mass_kg(rider_kg: float, luggage_kg: float | None, trike_kg: float) -> float:
    """Return what the springs and the maker's limit are about (kg)."""
    return rider_kg + (luggage_kg or 0.0) + trike_kg


def suggest_grade(system_kg: float | None, rider_kg: float | None, ranges: Sequence[GradeRange] = ()) -> Suggestion:
    """Return the elastomer grade: by the makers' ranges of system mass, else by the default bands of rider mass.

    Bands are half-open: 65.0 kg is medium, 90.0 kg firm.
    """
    if ranges:
        return _by_ranges(system_kg, ranges)
    if rider_kg is None:
        return Suggestion(None, "No grade: it goes by the rider with gear, and that mass is not given.")
    if not RIDER_KG[0] <= rider_kg <= RIDER_KG[1]:
        return Suggestion(None, f"No grade: {rider_kg:g} kg is no rider's mass.")
    grade = grade_for_mass(rider_kg)
    (soft, _), (medium, _), _ = DEFAULT_GRADES
    band = {"soft": f"below {soft:g} kg", "medium": f"{soft:g} to below {medium:g} kg", "firm": f"from {medium:g} kg"}
    return Suggestion(grade, f"{grade}: rider with gear {band[grade]} ({DEFAULT_RULE}).")


def _by_ranges(system_kg: float | None, ranges: Sequence[GradeRange]) -> Suggestion:
    if system_kg is None:
        return Suggestion(None, "No grade: the maker goes by system mass, and that is not given.")
    for row in ranges:
        if row.from_kg <= system_kg < row.below_kg:
            words = f"{row.grade}: {row.name} is made for {row.from_kg:g} to below {row.below_kg:g} kg of system mass."
            return Suggestion(row.grade, words)
    low, high = min(row.from_kg for row in ranges), max(row.below_kg for row in ranges)
    return Suggestion(
        None, f"No grade: {system_kg:g} kg lies outside what the maker's types cover ({low:g} to {high:g} kg)."
    )


def suggest_pressure(system_kg: float | None, shock: Shock | None) -> Suggestion:
    """Return the starting pressure (kPa) from the shock's own table; none outside its rows."""
    if shock is None:
        return Suggestion(None, "No pressure: no air shock is fitted.")
    if not shock.table:
        return Suggestion(None, f"No pressure: the type {shock.name} has no table. Start as its maker says.")
    if system_kg is None:
        return Suggestion(None, "No pressure: the table goes by system mass, and that is not given.")
    low, high = shock.table[0][0], shock.table[-1][0]
    if not low <= system_kg <= high:
        return Suggestion(
            None, f"No pressure: {system_kg:g} kg lies outside the table of {shock.name} ({low:g} to {high:g} kg)."
        )
    kpa = _between(system_kg, shock.table)
    top = shock.max_kpa
    if top is not None and kpa > top:
        return Suggestion(top, f"{_bar(top)}: the maximum of {shock.name}; its table asks for more.")
    return Suggestion(kpa, f"{_bar(kpa)}: from the table of {shock.name} for {system_kg:g} kg.")


def _between(mass: float, rows: Sequence[tuple[float, float]]) -> float:
    """The straight line between the two rows around `mass`."""
    masses, pressures = zip(*rows, strict=True)
    return round(float(np.interp(mass, masses, pressures)), 1)


def _bar(kpa: float) -> str:
    return f"{say_pressure(kpa, 'bar')} ({say_pressure(kpa, 'psi')})"


@dataclass(frozen=True)
class Sag:
    """Measured sag in per cent of the stroke, and what it asks for."""

    pct: float | None
    level: str  # ok, watch
    words: str


def judge_sag(sag_mm: float, shock: Shock | None) -> Sag:
    """Return sag as a share of the fitted shock's stroke, against the band of the bench."""
    if shock is None or not shock.stroke_mm:
        return Sag(None, "watch", f"{sag_mm:g} mm: the stroke of the shock is not known, so this is no share of it.")
    pct, (low, high) = sag_pct(sag_mm, shock.stroke_mm), SAG_BAND_PCT
    words = f"{pct:.0f} % of {shock.stroke_mm:g} mm"
    if sag_mm < 0 or pct > 100:
        return Sag(None, "watch", f"{sag_mm:g} mm is no sag of a shock with {shock.stroke_mm:g} mm of stroke.")
    if pct < low:
        return Sag(pct, "watch", f"{words} - let some air out: target {SAG_TARGET}.")
    if pct > high:
        return Sag(pct, "watch", f"{words} - add air, up to the maximum on the shock: target {SAG_TARGET}.")
    return Sag(pct, "ok", f"{words} - good: target {SAG_TARGET}.")


def over_limits(fitted: Fitted, system_kg: float | None, pressure_kpa: float | None) -> list[tuple[str, str]]:
    """Return what goes beyond a maker's limit: (field, sentence). Such a trike is not handed over."""
    beyond = []
    if system_kg is not None and fitted.max_system_kg is not None and system_kg > fitted.max_system_kg:
        words = f"{system_kg:g} kg of system mass is above the limit of {fitted.frame}: {fitted.max_system_kg:g} kg."
        beyond.append(("system_mass_kg", words))
    top = fitted.shock.max_kpa if fitted.shock else None
    if pressure_kpa is not None and top is not None and pressure_kpa > top:
        words = f"{pressure_kpa:,.0f} kPa is above the maximum of {fitted.shock.name}: {top:,.0f} kPa, {_bar(top)}."
        beyond.append(("shock_pressure_kpa", words))
    return beyond


@dataclass(frozen=True)
class SetUp:
    """Everything that is proposed and found for one rider on one trike."""

    system_kg: float | None
    grade: Suggestion
    pressure: Suggestion
    sag: Sag | None
    note: str  # where what is fitted differs from what is proposed
    beyond: tuple[tuple[str, str], ...]

    def as_kept(self) -> dict[str, Any]:
        """Return what the handover keeps beside the actual values."""
        pct = self.sag.pct if self.sag else None
        return {
            "grade": self.grade.value, "grade_words": self.grade.words,
            "pressure_kpa": self.pressure.value, "pressure_words": self.pressure.words,
            "sag_pct": None if pct is None else round(pct, 1), "sag_words": self.sag.words if self.sag else "",
            "sag_band_pct": list(SAG_BAND_PCT),
        }  # fmt: skip


def set_up(
    fitted: Fitted, *, system_kg: float | None = None, rider_kg: float | None = None, sag_mm: float | None = None,
    pressure_kpa: float | None = None,
) -> SetUp:  # fmt: skip
    """Return the proposal for one rider on one trike."""
    grade = suggest_grade(system_kg, rider_kg, fitted.ranges)
    sag = None if sag_mm is None else judge_sag(sag_mm, fitted.shock)
    beyond = tuple(over_limits(fitted, system_kg, pressure_kpa))
    return SetUp(system_kg, grade, suggest_pressure(system_kg, fitted.shock), sag, _other_grade(fitted, grade), beyond)


def _other_grade(fitted: Fitted, grade: Suggestion) -> str:
    if not grade.value or set(fitted.grades) <= {grade.value}:
        return ""
    there = " and ".join(sorted(set(fitted.grades)))
    return f"{there.capitalize()} elastomers are fitted, {grade.value} ones are proposed."
