"""Charts of lives and repairs as curves that step: the share still good by age, repairs per machine.

They draw numbers that were reckoned before; nothing is fitted here. Every number also stands in the table under the chart.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from django.utils.safestring import SafeString

from tracker.pages.charts import Chart, Plane, drawn_twice, nice_ticks, stepped

WATCHED_ROOM = 70.0  # px under the axis where a row of numbers stands
MOST_ROWS = 60  # of a table under a chart; longer ones keep every second, third, ... row and the last
GOOD, NONE = (0.0, 1.0), (0.0, 0.0)  # where the curves begin


@dataclass(frozen=True)
class Steps:
    """A curve that steps at rising ages: value just after each, with limits; `until`: where it may be drawn to.

    watched: at each step, how many were under watch just before.
    """

    age: Sequence[float]
    value: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    watched: Sequence[float]
    until: float

    @property
    def shown(self) -> int:
        """How many steps may be drawn."""
        return sum(age <= self.until for age in self.age)


@dataclass(frozen=True)
class Other:
    """A second curve beside the first, by name."""

    name: str
    age: Sequence[float]
    value: Sequence[float]
    until: float


def finished(name: str, title: str, told: str, draw: Callable[[float, float], Plane]) -> SafeString:
    """Return the drawing for the desk and for a phone."""
    return drawn_twice(lambda width, height, css: draw(width, height).svg(f"{name}-{css}", title, told, css))


def say_age(value: float) -> str:
    """Write an age: whole from 100 on, otherwise two digits that count."""
    if value >= 100 or value == int(value):
        return f"{value:,.0f}"
    return f"{value:,.1f}" if value >= 10 else f"{value:.2g}"


def say_share(share: float) -> str:
    """Write a share in percent with as many digits as are told apart."""
    digits = 0 if 0.02 <= share <= 0.98 or share in (0, 1) else 1
    return f"{share * 100:.{digits}f} %"


def thinned(rows: list[list[str]]) -> list[list[str]]:
    """Return the rows, or as many of them as can be read; the last always."""
    every = math.ceil(len(rows) / MOST_ROWS) or 1
    return rows[::every] + ([rows[-1]] if every > 1 and (len(rows) - 1) % every else [])


def age_axis(
    plane: Plane, unit: str, say_y: Callable[[float], str], y_ticks: Sequence[float] = (), of: str = "its life"
) -> None:
    """Draw the axes of a chart whose x axis is an age, of a part's life or of the trike."""
    ticks = [(tick, f"{tick:,.0f}") for tick in nice_ticks(plane.x_low, plane.x_high, 8 if plane.width > 500 else 4)]
    plane.axes(ticks, f"{unit} of {of}", say_y, y_ticks)


def _stepped_line(
    plane: Plane, ages: Sequence[float], values: Sequence[float], first: tuple[float, float], end: float, css: str
) -> None:
    plane.line(list(zip(*stepped(ages, values, first, end), strict=True)), css)


def _stepped_band(plane: Plane, curve: Steps, first: tuple[float, float]) -> None:
    ages, count = curve.age[: curve.shown], curve.shown
    across, lows = stepped(ages, curve.low[:count], first, curve.until)
    plane.band(across, lows, stepped(ages, curve.high[:count], first, curve.until)[1])


def _step_rows(curve: Steps, unit: str, say: Callable[[float], str]) -> list[list[str]]:
    """Rows of a table: age, under watch, value, limits."""
    count = curve.shown
    columns = (curve.age[:count], curve.watched[:count], curve.value[:count], curve.low[:count], curve.high[:count])
    return thinned([
        [f"{say_age(age)} {unit}", f"{watched:,.0f}", say(value), f"{say(low)} to {say(high)}"]
        for age, watched, value, low, high in zip_longest(*columns, fillvalue=0.0)
    ])  # fmt: skip


# Still good


def survival_chart(
    curve: Steps, unit: str, survivors: Sequence[float], watched: Sequence[tuple[float, int]],
    fitted: Sequence[tuple[float, float]] = (), other: Other | None = None,
) -> Chart:  # fmt: skip
    """Return the share still good by age: stepped band, fitted line, another curve, how many are under watch below.

    survivors: ages of the parts that still run, drawn as a rug. watched: (age, parts under watch). fitted: (age, share).
    """
    title, last = "Share still good by age", curve.shown - 1
    told = "No part has failed at an age where enough are under watch."
    if last >= 0:
        limits = f"between {say_share(curve.low[last])} and {say_share(curve.high[last])}"
        told = f"At {say_age(curve.until)} {unit} {say_share(curve.value[last])} are still good ({limits})."
    drawing = finished(
        "survival", title, told,
        lambda width, height: _survival_plane(curve, unit, survivors, watched, fitted, other, (width, height)),
    )  # fmt: skip
    key = [("known", "still good"), ("band", "nine in ten"), ("rug", "a part that still runs, at its age")]
    key += [("fitted", "fitted life")] if fitted else []
    key += [("other", other.name)] if other else []
    columns = ["Failure at", "Under watch", "Still good after it", "Between"]
    return Chart("survival", title, drawing, told, key, columns, _step_rows(curve, unit, say_share))


def _survival_plane(
    curve: Steps, unit: str, survivors: Sequence[float], watched: Sequence[tuple[float, int]],
    fitted: Sequence[tuple[float, float]], other: Other | None, size: tuple[float, float],
) -> Plane:  # fmt: skip
    end = max([curve.until, *survivors, *(age for age, _ in watched)], default=1.0)
    plane = Plane(0.0, end, 0.0, 1.0, *size, bottom=WATCHED_ROOM)
    age_axis(plane, unit, lambda share: f"{share * 100:.0f} %", (0, 0.2, 0.4, 0.6, 0.8, 1.0))
    _stepped_band(plane, curve, GOOD)
    if other:
        until = min(other.until, end)
        inside = sum(age <= until for age in other.age)
        _stepped_line(plane, other.age[:inside], other.value[:inside], GOOD, until, "other")
    plane.line([point for point in fitted if point[0] <= end], "fitted")
    _stepped_line(plane, curve.age[: curve.shown], curve.value[: curve.shown], GOOD, curve.until, "known")
    plane.rug([age for age in survivors if age <= end])
    plane.under([(age, f"{parts:,}") for age, parts in watched], "still under watch:")
    return plane


# Repairs per machine


def repairs_chart(curve: Steps, unit: str, words: str) -> Chart:
    """Return the mean number of repairs per trike by the trike's own age, with its band; `words`: what trend tests say."""
    title, count = "Repairs per trike", curve.shown
    last = curve.value[count - 1] if count else 0.0
    told = f"By {say_age(curve.until)} {unit} a trike had {last:.2g} repairs of it on average. {words}".strip()
    drawing = finished("repairs", title, told, lambda width, height: _repairs_plane(curve, unit, (width, height)))
    key = [("known", "repairs per trike"), ("band", "nine in ten")]
    columns = ["Repair at", "Trikes watched", "Repairs per trike", "Between"]
    return Chart("repairs", title, drawing, told, key, columns, _step_rows(curve, unit, "{:.2g}".format))


def _repairs_plane(curve: Steps, unit: str, size: tuple[float, float]) -> Plane:
    count = curve.shown
    plane = Plane(0.0, curve.until * 1.03, 0.0, max([*curve.high[:count], 0.01]) * 1.06, *size)
    first, second, *_ = plane.y_ticks()
    decimals = max(0, -math.floor(math.log10(second - first) + 1e-9))
    age_axis(plane, unit, lambda repairs: f"{repairs:.{decimals}f}", of="the trike")
    _stepped_band(plane, curve, NONE)
    _stepped_line(plane, curve.age[:count], curve.value[:count], NONE, curve.until, "known")
    return plane
