"""When a measured part meets its limit, as dates: wear mixed with riding, or 'cannot tell yet' where that is the truth.

The crossing is mixed at 20 equally likely axis values with 20 equally likely days each: 400 equally likely days, whose
quantiles are the range. Riding comes as a function (km targets (T,), levels (L,)) -> days (T, L), inf for never. Days are
ordinals (date.toordinal()) with a fraction.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from services.wear_crossing import crossings, past_already
from services.wear_gauge import learn
from services.wear_kinds import WEAR_KINDS, Facts, Reading, WearKind
from services.wear_model import Array, Learnt, Point, Values, series_of

Riding = Callable[[Array, Array], Array]
EQUAL_SHARES = (np.arange(20) + 0.5) / 20
SHOWN = (0.1, 0.5, 0.9)
USEFUL_DAYS = 60.0
USEFUL_KM = 500.0
USEFUL_SHARE = 1.5
LONGEST_FROM_NOW_DAYS = 365.0
CYCLES_PER_YEAR = 45.0  # where none are noted (assumption, no source)
SOONEST_CHECK_DAYS = 14.0
LONGEST_CHECK_DAYS = 365.0


@dataclass(frozen=True)
class WearForecast:
    """What is known of one measured quantity of one part.

    at, warn_at: 10, 50, 90 % axis values (life km, or day numbers) of meeting the limit and the warning; days, warn_days the
    same as day numbers; inf: later than is looked ahead. past: chance that it is past its limit already. counted: readings
    used; laid_aside, unusable: positions of readings that do not fit, or lack what must be noted beside. tells: whether the
    range is of use, else `why` says what is missing. measure_again: day number.
    dated: whether days are told at all, which a km axis without riding is not. lacks: what must be known beside and is not.
    """

    kind: WearKind
    limits: tuple[float, float] | None
    at: Array
    days: Array
    warn_at: Array
    warn_days: Array
    past: float
    counted: int
    laid_aside: tuple[int, ...]
    unusable: tuple[int, ...]
    tells: bool
    why: str
    measure_again: float
    dated: bool = False
    learnt: Learnt | None = None
    origin: float = 0.0
    lacks: tuple[str, ...] = ()

    @property
    def is_past(self) -> bool:
        """Whether it has more likely than not met its limit already."""
        return self.past >= 0.5


def table_riding(km: Sequence[float], levels: Sequence[float], days: Array) -> Riding:
    """Return a riding function from a table of days (T, L) at ascending km and levels: straight between, flat beyond."""
    table = np.asarray(days, float)

    def riding(targets: Array, asked: Array) -> Array:
        at_km = np.stack([np.interp(targets, km, column) for column in table.T], axis=1)
        return np.stack([np.interp(asked, levels, row) for row in at_km])

    return riding


def mixed_days(axis_values: Array, riding: Riding, asked: Sequence[float]) -> Array:
    """Return quantile days (..., L) of distances (..., M) that are themselves uncertain: M equally likely km, inf for never."""
    finite = np.isfinite(axis_values)
    days = np.full((*axis_values.shape, len(EQUAL_SHARES)), np.inf)
    if finite.any():
        days[finite] = riding(axis_values[finite], EQUAL_SHARES)
    return np.apply_along_axis(equal_quantiles, -1, days.reshape(*axis_values.shape[:-1], -1), asked)


def equal_quantiles(days: Array, asked: Sequence[float]) -> Array:
    """Return quantiles of equally likely days; inf where the level falls among those that never come."""
    ordered = np.sort(days)
    place = np.clip(np.asarray(asked) * len(ordered) - 0.5, 0, len(ordered) - 1)
    below = np.floor(place).astype(int)
    above = np.minimum(below + 1, len(ordered) - 1)
    low, high, share = ordered[below], ordered[above], place - below
    known = np.isfinite(high)
    step = np.where(known, high, 0.0) - np.where(known, low, 0.0)
    return np.where(known | (share == 0), low + step * share, np.inf)


def points_of(
    kind: WearKind, readings: Sequence[Reading], rated: Facts, began: float
) -> tuple[list[Point], list[int], float]:
    """Return (points, their positions among the readings, axis value at which the present life began).

    A life begins at `began`, at a reading after which the part was renewed or set anew, and where the value tells of a new
    part. Readings before their life began or without what must be noted beside are left out.
    """
    found: list[tuple[int, float, Reading]] = []
    origins = [began]
    before: float | None = None
    for place in sorted(range(len(readings)), key=lambda i: (readings[i].at, i)):
        reading = readings[place]
        if kind.lacks(rated, reading.context) or reading.at < origins[-1]:
            continue
        if before is not None and reading.value is not None and reading.value > before + kind.rise:
            origins.append(found[-1][2].at)
        found.append((place, len(origins) - 1, reading))
        before = reading.value
        if reading.renewed:
            origins.append(reading.at)
            before = None
    per = kind.per(rated)
    points = [_point(kind, reading, rated, (reading.at - origins[life]) / per, len(origins) - 1 - life)
              for _, life, reading in found]  # fmt: skip
    return points, [place for place, _, _ in found], origins[-1]


def _point(kind: WearKind, reading: Reading, rated: Facts, u: float, life: int) -> Point:
    ends = sorted(kind.wear(end, rated, reading.context) for end in reading.ends)
    return Point(u, ends[0], ends[1], reading.cycles / 100, kind.noise(reading.context), life)


def foresee(
    code: str, readings: Sequence[Reading], *, rated: Facts, began: float, today: float,
    riding: Riding | None = None, fleet: Values | None = None, cycles_per_year: float | None = None,
) -> WearForecast:  # fmt: skip
    """Return when the part meets its limit. `began`: life km (0 as a rule) or day number at which its present life began.

    riding answers in the part's own life km; a kind on the km axis without it is told in km only. fleet: fitted values,
    else those shipped. Raises KeyError on a quantity that does not wear.
    """
    kind = WEAR_KINDS[code]
    points, places, origin = points_of(kind, readings, rated, began)
    last_read = readings[places[-1]] if places else max(readings, key=lambda reading: reading.at, default=None)
    context = last_read.context if last_read else {}
    unusable = tuple(sorted(set(range(len(readings))) - set(places)))
    lacks = kind.lacks(rated, context)
    if lacks:
        return _untold(kind, unusable, today, lacks)
    learnt = learn(kind.shape, fleet or kind.shipped, series_of([points], _rate(points, cycles_per_year)))
    warn, worn = kind.wear_limits(rated, context)
    (warn_at, at), (warn_days, days) = _when(kind, learnt, (warn, worn), origin, rated, riding, today)
    dropped = tuple(places[i] for i in np.flatnonzero(learnt.dropped[0][: len(places)]))
    counted, past = len(places) - len(dropped), float(past_already(learnt, worn)[0])
    last = readings[places[-1]].at if places else began
    if counted and past >= 0.5:
        at, days, why = np.full(len(SHOWN), last), np.full(len(SHOWN), today), ""
    elif kind.axis == "km" and riding is None:
        why = _doubt(counted, len(dropped), at, last, USEFUL_KM)
    else:
        why = _doubt(counted, len(dropped), days, today, USEFUL_DAYS, LONGEST_FROM_NOW_DAYS)
    again = float(np.clip(warn_days[0], today + SOONEST_CHECK_DAYS, today + LONGEST_CHECK_DAYS))
    return WearForecast(
        kind, kind.limits(rated, context), at, days, warn_at, warn_days, past, counted, dropped, unusable,
        not why, why, again, kind.axis == "days" or riding is not None, learnt, origin,
    )  # fmt: skip


def _rate(points: Sequence[Point], cycles_per_year: float | None) -> float:
    """100 cycles a year: as told, else as many as so far, else typical."""
    if cycles_per_year is not None:
        return cycles_per_year / 100
    last = max(points, key=lambda point: point.u, default=None)
    return last.second / last.u if last and last.u > 0 and last.second > 0 else CYCLES_PER_YEAR / 100


def _when(
    kind: WearKind, learnt: Learnt, limits: Sequence[float], origin: float, rated: Facts, riding: Riding | None, today: float
) -> tuple[Array, Array]:  # fmt: skip
    """Return (axis values, days), (limits, 3) each, at 10, 50, 90 %; days not before today, inf where no riding is known."""
    mixed = kind.axis == "km" and riding is not None
    levels = [*SHOWN, *EQUAL_SHARES] if mixed else SHOWN
    each = learnt.take([0] * len(limits))  # the one part, once for each limit: all are found together
    axis = origin + kind.per(rated) * crossings(each, np.asarray(limits), levels, kind.cap, still_good=True)
    at = axis[:, : len(SHOWN)]
    if mixed:
        return at, np.maximum(mixed_days(axis[:, len(SHOWN) :], riding, SHOWN), today)
    return at, np.maximum(at, today) if kind.axis == "days" else np.full(at.shape, np.inf)


def _doubt(counted: int, dropped: int, range_: Array, now: float, least: float, longest: float = np.inf) -> str:
    """Return why no range is told, '' where it is: it needs a measurement that fits and a range narrow enough to plan by.

    Narrow enough: its end is known and the 80 % range is at most 60 days (500 km), or 1.5 x the way from now to the middle,
    whichever is more; a range that has begun must end within `longest` (design rules, no source). A limit that fewer than
    one case in ten meets within what is looked ahead is told as 'not before'.
    """
    if counted == 0:
        return ("no measurement", "the one measurement does not fit", "no measurement fits")[min(dropped, 2)]
    low, middle, high = range_
    narrow = np.isfinite(high) and high - low <= max(least, USEFUL_SHARE * (middle - now))
    if not np.isfinite(low) or (narrow and (low > now or high - now <= longest)):
        return ""
    return f"{_number(counted)} and a range too wide to plan by"


def _number(counted: int) -> str:
    words = ("no", "one", "two", "three", "four", "five")
    return f"{words[counted] if counted < len(words) else counted} measurement{'' if counted == 1 else 's'}"


def _untold(kind: WearKind, unusable: tuple[int, ...], today: float, lacks: tuple[str, ...]) -> WearForecast:
    never = np.full(len(SHOWN), np.inf)
    why = f"not known: {', '.join(lacks).replace('_', ' ')}"
    return WearForecast(
        kind,
        None,
        never,
        never,
        never,
        never,
        0.0,
        0,
        (),
        unusable,
        False,
        why,
        today + SOONEST_CHECK_DAYS,
        lacks=lacks,
    )
