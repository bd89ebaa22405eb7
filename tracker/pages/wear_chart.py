"""The wear chart of one quantity of a part: readings, limits, what is foretold with its range; and the same as a table."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.safestring import SafeString

from services.wear_curve import WearCurve, curve_of
from services.wear_dates import WearForecast
from services.wear_words import say_reading
from tracker.pages.charts import Plane, drawn_twice, month_ticks, nice_ticks
from tracker.queries.wear import WearTold


@dataclass(frozen=True)
class Row:
    """One reading as the table tells it."""

    on: date
    at: str
    value: str
    note: str
    card_id: int
    card: str


@dataclass(frozen=True)
class WearShown:
    """A quantity on the page: words, what to do next, drawing ('' where nothing can be reckoned), limits and readings."""

    title: str
    words: str
    next: str
    chart: SafeString | str
    axis: str
    limits: list[tuple[str, str, str]]
    rows: list[Row]
    source: str
    left_out: bool = False
    is_met_ahead: bool = False

    @property
    def has_notes(self) -> bool:
        """Whether any reading has a note."""
        return any(row.note for row in self.rows)


def wear_shown(told: WearTold) -> WearShown:
    """Return what the page shows of one quantity."""
    found = told.forecast
    can_draw = found is not None and found.learnt is not None
    return WearShown(
        told.title, told.words, told.next, _chart(told, found) if can_draw else "",
        "At (km of its life)" if told.track.kind.axis == "km" else "", _limits(found) if can_draw else [], _rows(told),
        found.learnt.values.source if can_draw else "", bool(found and found.laid_aside),
        bool(can_draw and not found.is_past and math.isfinite(found.at[0])),
    )  # fmt: skip


def _rows(told: WearTold) -> list[Row]:
    track, found = told.track, told.forecast
    km = track.kind.axis == "km" and track.began is not None
    answer = []
    for place, (reading, on, row) in enumerate(zip(track.readings, told.dates, told.rows, strict=True)):
        note = ""
        if found and place in found.laid_aside:
            note = "does not fit: left out"
        elif found and place in found.unusable:
            note = "could not be used"
        value = say_reading(found, reading) if found else track.kind.say.format(row.value)
        answer.append(Row(on, f"{reading.at:,.0f}" if km else "", value, note, row.card_id, row.card.number))
    return answer[::-1]


def _limits(found: WearForecast) -> list[tuple[str, str, str]]:
    """(limit, value, when it is met) of the warning and of the limit itself."""
    if found.is_past:
        whens = ("passed", "passed")
    else:
        whens = (_when(found, found.warn_at, found.warn_days), _when(found, found.at, found.days))
    say = found.kind.say.format
    return [(name, say(limit), when) for name, limit, when in zip(("Warn", "Limit"), found.limits, whens, strict=True)]


def _when(found: WearForecast, at: np.ndarray, days: np.ndarray) -> str:
    axis = " / ".join(_say_at(found, value) for value in at)
    if found.kind.axis == "days" or not found.dated:
        return axis
    return f"{axis}; {' / '.join(_say_day(day) for day in days)}"


def _say_at(found: WearForecast, value: float) -> str:
    if found.kind.axis == "days":
        return _say_day(value)
    return f"{value:,.0f} km" if math.isfinite(value) else "later"


def _say_day(day: float) -> str:
    return f"{date.fromordinal(int(day)):%b %Y}" if math.isfinite(day) else "later"


# The drawing


def _chart(told: WearTold, found: WearForecast) -> SafeString:
    curve = curve_of(told.track, found, told.today)
    name, title = f"wear-{told.quantity}", f"{told.title}: measured, foretold and limits"
    return drawn_twice(
        lambda width, height, css: _draw(curve, found, width, height).svg(f"{name}-{css}", title, told.words, css)
    )


def _draw(curve: WearCurve, found: WearForecast, width: float, height: float) -> Plane:
    plane = Plane(curve.begin, curve.end, curve.lowest, curve.highest, width, height)
    most = 8 if width > 500 else 4
    if found.kind.axis == "km":
        ticks = [(tick, f"{tick:,.0f}") for tick in nice_ticks(plane.x_low, plane.x_high, most)]
        plane.axes(ticks, "km of its life", _saying(plane))
    else:
        plane.axes(month_ticks(plane.x_low, plane.x_high, most), "date", _saying(plane))
    at = curve.at.tolist()
    plane.band(at, curve.low.tolist(), curve.high.tolist())
    plane.line([(x, y) for x, y in zip(at, curve.mean.tolist(), strict=True) if y >= curve.lowest], "expected")
    _limit_lines(plane, found)
    if curve.now is not None:
        plane.mark(curve.now, "today")
    if curve.likely:
        plane.span(*curve.likely)
    for bar in curve.bars:
        if bar.aside:
            plane.cross(bar.at, bar.value)
        else:
            plane.bar(bar.at, bar.low, bar.high)
            plane.dot(bar.at, bar.value)
    return plane


def _limit_lines(plane: Plane, found: WearForecast) -> None:
    """Both limits with their words, on the far side of each other so that they never meet."""
    say, (warn, worn) = found.kind.say.format, found.limits
    rises = worn > warn
    plane.level(warn, f"Warn {say(warn)}", "warn", below=rises)
    plane.level(worn, f"Limit {say(worn)}", "limit", below=not rises)


def _saying(plane: Plane) -> Callable[[float], str]:
    """How the numbers of the y axis are written: with as many decimals as their step has."""
    ticks = plane.y_ticks()
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return lambda value: f"{value:,.{decimals}f}"
