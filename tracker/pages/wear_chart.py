"""The wear chart of one quantity of a part: readings, limits, what is foretold with its range; and the same as a table."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.safestring import SafeString

from services.kinds.shock_air import REFERENCE_C
from services.season import DAYS_A_YEAR
from services.wear_dates import WearForecast
from services.wear_kinds import Reading
from services.wear_words import say_reading
from tracker.pages.charts import Plane, drawn_twice, month_ticks, nice_ticks
from tracker.queries.wear import WearTold

EIGHTY = 1.2816  # standard deviations on either side that hold 80 %
STEPS = 40
AHEAD_KM, AHEAD_DAYS = 3000.0, 2 * DAYS_A_YEAR  # drawn where the crossing lies further off


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


def wear_shown(told: WearTold) -> WearShown:
    """Return what the page shows of one quantity."""
    found = told.forecast
    can_draw = found is not None and found.learnt is not None
    return WearShown(
        told.title, told.words, told.next, _chart(told, found) if can_draw else "",
        "At (km of its life)" if told.track.kind.axis == "km" else "", _limits(found) if can_draw else [], _rows(told),
        found.learnt.values.source if can_draw else "", bool(found and found.laid_aside),
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
    if found.past >= 0.5:
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
    scale = _Scale(told, found)
    name = f"wear-{told.quantity}"
    title = f"{told.title}: measured, foretold and limits"
    return drawn_twice(
        lambda width, height, css: _draw(scale, width, height).svg(f"{name}-{css}", title, told.words, css)
    )


class _Scale:
    """What is drawn, in the units shown: pressures as they would stand at 20 C with what is set now."""

    def __init__(self, told: WearTold, found: WearForecast) -> None:
        self.kind, self.found, self.rated = found.kind, found, told.track.rated
        usable = [place for place in range(len(told.track.reckoned)) if place not in found.unusable]
        last = told.track.reckoned[usable[-1]].context if usable else {}
        self.context = {**last, "temperature_c": REFERENCE_C}
        self.is_km = self.kind.axis == "km"
        self.points = [self._point(told.track.readings[place], place in found.laid_aside) for place in usable]
        self.now = None if self.is_km else told.today
        self._foretell()

    def _point(self, reading: Reading, aside: bool) -> tuple[float, float, float, float, bool]:
        """(x, value, low, high, laid aside) with what the gauge can tell around it, 80 %."""
        noise = self.kind.noise(reading.context) or self.found.learnt.values.gauge
        low, high = (self.kind.wear(end, self.rated, reading.context) for end in reading.ends)
        shown = [self._shown(value) for value in ((low + high) / 2, low - EIGHTY * noise, high + EIGHTY * noise)]
        return reading.at, shown[0], min(shown[1:]), max(shown[1:]), aside

    def _shown(self, wear: float) -> float:
        return float(self.kind.shown(float(wear), self.rated, self.context))

    def _foretell(self) -> None:
        found, per = self.found, self.kind.per(self.rated)
        last = max([found.origin, *(x for x, *_ in self.points)])
        if self.now is not None:
            last = max(last, self.now)
        known = [value for value in found.at if math.isfinite(value)]
        ahead = AHEAD_KM if self.is_km else AHEAD_DAYS
        end = last + (max(value - last for value in known) if known and found.past < 0.5 else ahead) * 1.08
        self.end = max(end, last + 0.1 * ahead)
        self.xs = np.linspace(found.origin, self.end, STEPS)
        mean, sd = found.learnt.wear(((self.xs - found.origin) / per)[None, :])
        self.mean = [self._shown(value) for value in mean[0]]
        edges = [[self._shown(value) for value in mean[0] + sign * EIGHTY * sd[0]] for sign in (-1, 1)]
        self.lows, self.highs = ([pick(pair) for pair in zip(*edges, strict=True)] for pick in (min, max))
        self.begin = min([found.origin, *(x for x, *_ in self.points)])

    @property
    def heights(self) -> tuple[float, float]:
        """The lowest and highest value drawn, with a little room."""
        warn, worn = self.found.limits
        reach = abs(worn - self.mean[0]) or 1.0
        top = max([warn, worn, *(high for _, _, _, high, _ in self.points), self.mean[0]])
        bottom = min([warn, worn, *(low for _, _, low, _, _ in self.points), self.mean[0]])
        top = max(top, min(max(self.highs), top + 0.25 * reach))
        bottom = min(bottom, max(min(self.lows), bottom - 0.25 * reach, 0.0))
        room = 0.06 * (top - bottom)
        return (bottom - room if bottom - room > 0 or bottom < 0 else 0.0), top + room


def _draw(scale: _Scale, width: float, height: float) -> Plane:
    plane = Plane(scale.begin, scale.end, *scale.heights, width, height)
    most = 8 if width > 500 else 4
    if scale.is_km:
        ticks = [(tick, f"{tick:,.0f}") for tick in nice_ticks(plane.x_low, plane.x_high, most)]
        plane.axes(ticks, "km of its life", _saying(plane))
    else:
        plane.axes(month_ticks(plane.x_low, plane.x_high, most), "date", _saying(plane))
    xs = [float(x) for x in scale.xs]
    plane.band(xs, scale.lows, scale.highs)
    plane.line(list(zip(xs, scale.mean, strict=True)), "expected")
    _limit_lines(plane, scale)
    if scale.now is not None:
        plane.mark(scale.now, "today")
    low, _, high = scale.found.at
    if math.isfinite(low) and scale.found.past < 0.5:
        plane.span(low, min(high, scale.end))
    for x, value, bottom, top, aside in scale.points:
        if aside:
            plane.cross(x, value)
        else:
            plane.bar(x, bottom, top)
            plane.dot(x, value)
    return plane


def _limit_lines(plane: Plane, scale: _Scale) -> None:
    """Both limits with their words, on the far side of each other so that they never meet."""
    say, (warn, worn) = scale.kind.say.format, scale.found.limits
    rises = worn > warn
    plane.level(warn, f"Warn {say(warn)}", "warn", below=rises)
    plane.level(worn, f"Limit {say(worn)}", "limit", below=not rises)


def _saying(plane: Plane) -> Callable[[float], str]:
    """How the numbers of the y axis are written: with as many decimals as their step has."""
    ticks = plane.y_ticks()
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return lambda value: f"{value:,.{decimals}f}"
