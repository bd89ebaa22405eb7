"""A wear forecast in a mechanic's words: '0.62 % at 2,900 km; 0.75 % between 3,300 and 4,100 km: mid-March to early June'."""

from collections.abc import Sequence
from datetime import date

import numpy as np

from services.due_words import say_date
from services.forecast_words import date_or_none, say_range
from services.units import miles_from_km, say_distance
from services.wear_dates import WearForecast
from services.wear_kinds import Reading

AGE_UNKNOWN = "Cannot tell yet: how far it ran before it came here is not known."
AGE_UNKNOWN_NEXT = "Measured values stand below; only a date cannot be told."
BESIDE = {
    "set_kpa": "the pressure it is set to", "temperature_c": "the temperature", "new_height_mm": "its height when new",
}  # fmt: skip
RATED = {"shore_a": "its hardness when new (Shore A)", "rated_wh": "its rated capacity (Wh)"}
CLEAR_KM = 100.0  # distances are told to the next hundred


def words(forecast: WearForecast, readings: Sequence[Reading], *, today: float, unit: str = "km") -> str:
    """Return one sentence or two: the last reading that counts, the limit and when it is met, or why that cannot be told."""
    if forecast.lacks:
        known = "is not known" if len(forecast.lacks) == 1 else "are not known"
        return f"Cannot tell yet: {' and '.join((BESIDE | RATED)[name] for name in forecast.lacks)} {known}."
    if not forecast.tells:
        return _cannot_tell(forecast, unit)
    last = _last_counted(forecast, readings)
    measured = f"{say_reading(forecast, last)} {_where(forecast, last.at, unit)}"
    limit = forecast.kind.say.format(forecast.limits[1])
    return " ".join(part for part in (f"{measured}; {_when(forecast, limit, today, unit)}.", _noted(forecast)) if part)


def next_step(forecast: WearForecast) -> str:
    """Return what would let it be told: what to note beside the next reading, or to measure again; '' where it is told."""
    noted = [BESIDE[name] for name in forecast.lacks if name in BESIDE]
    if noted:
        return f"Note {' and '.join(noted)} beside the next measurement."
    if forecast.lacks:
        return f"Add {' and '.join(RATED[name] for name in forecast.lacks)} to its part type."
    if forecast.tells:
        return ""
    return "One more measurement narrows the range most when the part has run a good while since the last one."


def say_reading(forecast: WearForecast, reading: Reading) -> str:
    """Return '0.62 %', or '0.50 % to 0.75 %' for a gauge of which one end fits; an open end is 'below' or 'at least'."""
    low, high = reading.ends
    say = forecast.kind.say.format
    if low == high:
        return say(low)
    if np.isinf(low):
        return f"below {say(high)}"
    return f"at least {say(low)}" if np.isinf(high) else f"{say(low)} to {say(high)}"


def _range(days: Sequence[float], today: float) -> str:
    low, middle, high = (date_or_none(day) for day in days)
    return say_range(low, middle, high, _day(today))


def _day(day: float) -> date:
    return date.fromordinal(int(day))


def _cannot_tell(forecast: WearForecast, unit: str) -> str:
    again = f" Measure again by {say_date(_day(forecast.measure_again))}."
    return f"Cannot tell yet: {forecast.why}.{_hardly(forecast, unit) if forecast.counted else ''}{again}"


def _hardly(forecast: WearForecast, unit: str) -> str:
    """What can be said all the same: where one case in ten begins."""
    if np.isfinite(forecast.days[0]):
        return f" Hardly before {_day(forecast.days[0]):%B %Y}."
    return f" Hardly before {say_distance(forecast.at[0], unit)}."


def _last_counted(forecast: WearForecast, readings: Sequence[Reading]) -> Reading:
    out = {*forecast.laid_aside, *forecast.unusable}
    return max((reading for place, reading in enumerate(readings) if place not in out), key=lambda reading: reading.at)


def _where(forecast: WearForecast, at: float, unit: str) -> str:
    return f"at {say_distance(at, unit)}" if forecast.kind.axis == "km" else f"on {say_date(_day(at))}"


def _when(forecast: WearForecast, limit: str, today: float, unit: str) -> str:
    if forecast.is_past:
        return f"it has met its limit of {limit}"
    if not np.isfinite(forecast.at[0]):
        return f"{limit} is further off than can be told"
    if forecast.kind.axis == "days":
        return f"{limit}: {_range(forecast.days, today)}"
    between = f"{limit} {_distances(forecast.at, unit)}"
    if not forecast.dated:
        return between
    return f"{between}: {_range(forecast.days, today)}"


def _distances(at: Sequence[float], unit: str) -> str:
    low, _, high = (round((miles_from_km(km) if unit == "mi" else km) / CLEAR_KM) * CLEAR_KM if np.isfinite(km) else km
                    for km in at)  # fmt: skip
    if not np.isfinite(high):
        return f"not before {low:,.0f} {unit}"
    return f"at about {low:,.0f} {unit}" if low == high else f"between {low:,.0f} and {high:,.0f} {unit}"


def _noted(forecast: WearForecast) -> str:
    """What the mechanic must know beside: a reading that does not fit, one that could not be used, a caution."""
    count = len(forecast.laid_aside)
    lone = "1 reading does not fit and is left out: look at it again."
    several = f"{count} readings do not fit and are left out: look at them again."
    return " ".join(note for note in ((lone, several)[count > 1] if count else "", forecast.kind.caution) if note)
