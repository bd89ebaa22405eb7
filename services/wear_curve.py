"""The course of one quantity as a curve over its axis, in the units shown: expected, its 80 % band, and a bar per reading.

Pressures stand as they would at 20 C with what is set now.
"""

import math
from dataclasses import dataclass

import numpy as np

from services.kinds.shock_air import REFERENCE_C
from services.season import DAYS_A_YEAR
from services.wear_dates import WearForecast
from services.wear_kinds import Facts, Reading
from services.wear_model import Array
from services.wear_series import Track

EIGHTY = 1.2816  # standard deviations on either side that hold 80 % of a normal law
STEPS = 40
AHEAD_KM, AHEAD_DAYS = 3000.0, 2 * DAYS_A_YEAR  # drawn where the crossing lies further off
LEAST_AHEAD, BEYOND = 0.1, 1.08  # share of that drawn at least; how far past the last crossing
ROOM, REACH = 0.1, 0.25  # above and below what must be seen; of the band beyond it (shares of the height)


@dataclass(frozen=True)
class Bar:
    """One reading: where, its value, between which values the truth lies (80 %), and whether it was laid aside."""

    at: float
    value: float
    low: float
    high: float
    aside: bool


@dataclass(frozen=True)
class WearCurve:
    """What is drawn of one quantity. at, mean, low, high (40,): expected course and band from its present life's begin on.

    begin, end: of the axis drawn; lowest, highest: values drawn; likely: axis values between which the limit is met, 80 %,
    None where it is met already or later than is looked ahead; now: today on an axis of days.
    """

    at: Array
    mean: Array
    low: Array
    high: Array
    bars: tuple[Bar, ...]
    begin: float
    end: float
    lowest: float
    highest: float
    likely: tuple[float, float] | None
    now: float | None


def curve_of(track: Track, found: WearForecast, today: float) -> WearCurve:
    """Return the curve of a forecast that learnt something (found.learnt)."""
    context = _context(track, found)
    bars = _bars(track, found, context)
    is_km = track.kind.axis == "km"
    end = _end(found, max([found.origin, *(bar.at for bar in bars), *([] if is_km else [today])]), is_km)
    at = np.linspace(found.origin, end, STEPS)
    mean, sd = found.learnt.wear(((at - found.origin) / track.kind.per(track.rated))[None, :])
    expected, one, other = (
        np.array([_shown(track, context, wear) for wear in mean[0] + side * EIGHTY * sd[0]]) for side in (0, -1, 1)
    )
    low, high = np.minimum(one, other), np.maximum(one, other)
    lowest, highest = _heights(found.limits, bars, expected[0], (float(low.min()), float(high.max())))
    likely = None if found.is_past or not math.isfinite(found.at[0]) else (found.at[0], min(found.at[2], end))
    begin = min([found.origin, *(bar.at for bar in bars)])
    return WearCurve(at, expected, low, high, bars, begin, end, lowest, highest, likely, None if is_km else today)


def _context(track: Track, found: WearForecast) -> Facts:
    """What was noted with the last reading that can be used (none can: the last one), as at 20 C."""
    usable = [reading for place, reading in enumerate(track.reckoned) if place not in found.unusable]
    return {**(usable or track.reckoned)[-1].context, "temperature_c": REFERENCE_C}


def _shown(track: Track, context: Facts, wear: float) -> float:
    return float(track.kind.shown(float(wear), track.rated, context))


def _bars(track: Track, found: WearForecast, context: Facts) -> tuple[Bar, ...]:
    """What each usable reading tells, as widely as its gauge can; both ends of a go/no-go gauge."""
    return tuple(
        _bar(track, found, context, reading, place in found.laid_aside)
        for place, reading in enumerate(track.readings)
        if place not in found.unusable
    )


def _bar(track: Track, found: WearForecast, context: Facts, reading: Reading, aside: bool) -> Bar:
    noise = track.kind.noise(reading.context) or found.learnt.values.gauge
    ends = sorted(track.kind.wear(end, track.rated, reading.context) for end in reading.ends)
    middle = _shown(track, context, (ends[0] + ends[1]) / 2)
    around = [_shown(track, context, end) for end in (ends[0] - EIGHTY * noise, ends[1] + EIGHTY * noise)]
    return Bar(reading.at, middle, min(around), max(around), aside)


def _end(found: WearForecast, last: float, is_km: bool) -> float:
    """As far as the limit is met, or a while where that lies beyond what is looked ahead."""
    ahead = AHEAD_KM if is_km else AHEAD_DAYS
    known = [value for value in found.at if math.isfinite(value)]
    way = max(known) - last if known and not found.is_past else ahead
    return max(last + BEYOND * way, last + LEAST_AHEAD * ahead)


def _heights(
    limits: tuple[float, float], bars: tuple[Bar, ...], first: float, band: tuple[float, float]
) -> tuple[float, float]:
    """The lowest and highest value drawn: limits, readings and the begin, some of the band, a little room; not below 0."""
    reach = abs(limits[1] - first) or 1.0
    bottom = min([*limits, *(bar.low for bar in bars), first])
    top = max([*limits, *(bar.high for bar in bars), first])
    top = max(top, min(band[1], top + REACH * reach))
    bottom = min(bottom, max(band[0], bottom - REACH * reach, 0.0))
    room = ROOM * (top - bottom)
    return (bottom - room if bottom > room or bottom < 0 else 0.0), top + room
