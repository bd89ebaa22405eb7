"""Exact conversions, in one place. Stored: km, kPa (gauge), mm, N.m, Wh, Celsius. Shown: what the reader chose.

Factors are exact by definition (NIST SP 811 Appendix B): the inch 25.4 mm, the pound 0.45359237 kg, standard gravity
9.80665 m/s2. The float functions take one number or an array.
"""

import re
from decimal import Decimal
from fractions import Fraction
from typing import TypeVar

import numpy as np

from services.errors import Refusal
from services.language import say, say_number

Number = TypeVar("Number", float, np.ndarray)

KM_PER_MILE = Decimal("1.609344")
_LBF_N = Fraction("0.45359237") * Fraction("9.80665")
_INCH_M = Fraction("0.0254")
KPA_PER_PSI = float(_LBF_N / _INCH_M**2 / 1000)
NM_PER_LBF_IN = float(_LBF_N * _INCH_M)
NM_PER_LBF_FT = float(_LBF_N * _INCH_M * 12)
KPA_PER_BAR = 100.0
ATMOSPHERE_KPA = 101.325


class UnknownUnit(Refusal):
    """A unit that this quantity is not measured in."""

    code = "unknown-unit"


def km_from_miles(miles: Number) -> Number:
    """Return kilometres. 1 mi = 1.609344 km exactly."""
    return miles * float(KM_PER_MILE)


def miles_from_km(km: Number) -> Number:
    """Return miles."""
    return km / float(KM_PER_MILE)


def exact_km_from_miles(miles: Decimal) -> Decimal:
    """Return kilometres without rounding."""
    return miles * KM_PER_MILE


def exact_miles_from_km(km: Decimal) -> Decimal:
    """Return miles; undoes exact_km_from_miles."""
    return km / KM_PER_MILE


def kpa_from_psi(psi: Number) -> Number:
    """Return kilopascals. 1 psi = 1 lbf/in2 = 6894.757293168361... Pa."""
    return psi * KPA_PER_PSI


def psi_from_kpa(kpa: Number) -> Number:
    """Return pounds-force per square inch."""
    return kpa / KPA_PER_PSI


def kpa_from_bar(bar: Number) -> Number:
    """Return kilopascals. 1 bar = 100 kPa exactly."""
    return bar * KPA_PER_BAR


def bar_from_kpa(kpa: Number) -> Number:
    """Return bar."""
    return kpa / KPA_PER_BAR


def celsius_from_fahrenheit(degrees: Number) -> Number:
    """Return degrees Celsius: (F - 32) / 1.8 exactly."""
    return (degrees - 32) / 1.8


def newton_metres_from_lbf_in(torque: Number) -> Number:
    """Return newton metres from pound-force inches."""
    return torque * NM_PER_LBF_IN


def lbf_in_from_newton_metres(torque: Number) -> Number:
    """Return pound-force inches from newton metres."""
    return torque / NM_PER_LBF_IN


def newton_metres_from_lbf_ft(torque: Number) -> Number:
    """Return newton metres from pound-force feet."""
    return torque * NM_PER_LBF_FT


def to_km(value: Number, unit: str) -> Number:
    """Return a distance in km from 'km' or 'mi'. Raises UnknownUnit."""
    if unit == "km":
        return value
    if unit == "mi":
        return km_from_miles(value)
    raise UnknownUnit(
        say("A distance is in km or mi, not '{unit}'.", unit=unit), field="unit", remedy=say("Use km or mi.")
    )


def to_kpa(value: Number, unit: str) -> Number:
    """Return a gauge pressure in kPa from 'kPa', 'bar' or 'psi'. Raises UnknownUnit."""
    if unit == "kPa":
        return value
    if unit == "bar":
        return kpa_from_bar(value)
    if unit == "psi":
        return kpa_from_psi(value)
    raise UnknownUnit(f"A pressure is in psi, bar or kPa, not '{unit}'.", field="unit", remedy="Use psi, bar or kPa.")


def say_distance(km: float, unit: str = "km") -> str:
    """Return '5,480 km' or '3,405 mi': whole units, thousands apart."""
    shown = miles_from_km(km) if unit == "mi" else km
    return f"{say_number(round(shown), ',')} {unit}"


def say_share(share: float, digits: int = 0) -> str:
    """Return '84 %', or with digits=1 '93.5 %' where it is not round: a share of 1 in per cent."""
    text = say_number(share * 100, f".{digits}f")
    return (re.sub(r"\D0$", "", text) if digits else text) + " %"


def say_pressure(kpa: float, unit: str = "bar") -> str:
    """Return '150 psi', '10.3 bar' or '1,034 kPa'."""
    if unit == "psi":
        return f"{say_number(psi_from_kpa(kpa), '.0f')} psi"
    if unit == "bar":
        return f"{say_number(bar_from_kpa(kpa), '.1f')} bar"
    return f"{say_number(kpa, ',.0f')} kPa"


def roundest_pressure(kpa: float) -> tuple[str, str]:
    """Return (number, unit) of a kept pressure in the unit it was probably typed in: that of bar, psi, kPa with fewest digits."""
    shown = [(f"{value:.4f}".rstrip("0").rstrip("."), unit) for value, unit in _in_every_unit(kpa)]
    return min(shown, key=lambda pair: len(pair[0].replace(".", "")))


def _in_every_unit(kpa: float) -> tuple[tuple[float, str], ...]:
    return (bar_from_kpa(kpa), "bar"), (psi_from_kpa(kpa), "psi"), (kpa, "kPa")
