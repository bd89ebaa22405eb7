"""Charts of a review: failures by month against what was expected, the cost of replacing by age, ranges beside each other."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString

from services.life_data.ladder import say_number
from tracker.pages.charts import Chart, Plane
from tracker.pages.life_charts import age_axis, finished, say_age, thinned

RANGE = 150  # width of a range bar, px
WIDEST = 4.0  # it reaches so many doublings to either side
DEAREST = 2.0  # costs above twice running to failure are cut off


@dataclass(frozen=True)
class Month:
    """Failures of a month, what was expected with its range (None: not known), whether it is over, whether it was warned of."""

    words: str
    seen: int
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    complete: bool = True
    alarmed: bool = False


def months_chart(months: Sequence[Month]) -> Chart:
    """Return failures by month as bars, what was expected with its range; the month that is not over is only outlined."""
    title = "Failures by month"
    seen, warned = sum(month.seen for month in months), [month.words for month in months if month.alarmed]
    told = f"{seen} failure{'' if seen == 1 else 's'} in {len(months)} months."
    told += f" More than expected in {', '.join(warned)}." if warned else ""
    drawing = finished("months", title, told, lambda width, height: _months_plane(months, (width, height)))
    key = [("column", "failures")]
    key += [("open", "month not over: more may be told")] if any(not month.complete for month in months) else []
    key += [("expect", "expected, with its range")] if any(month.expected is not None for month in months) else []
    key += [("alarm", "more than expected")] if warned else []
    rows = [
        [month.words + ("" if month.complete else ", not over"), str(month.seen), _expected(month),
         "more than expected" if month.alarmed else ""] for month in months
    ]  # fmt: skip
    return Chart("months", title, drawing, told, key, ["Month", "Failures", "Expected", "Warning"], rows)


def _months_plane(months: Sequence[Month], size: tuple[float, float]) -> Plane:
    top = max([*(month.seen for month in months), *(month.high or 0 for month in months), 1]) * 1.2
    plane = Plane(0.0, float(len(months)), 0.0, top, *size)
    ticks = [(place + 0.5, month.words) for place, month in enumerate(months)]
    plane.axes(ticks, "month", "{:,.0f}".format, [tick for tick in plane.y_ticks() if tick == int(tick)])
    for place, month in enumerate(months):
        if month.seen:
            plane.column(place + 0.2, place + 0.8, month.seen, "column" if month.complete else "column open")
        if month.expected is not None:
            plane.bar(place + 0.5, month.low or 0.0, month.high or 0.0)
            plane.line([(place + 0.28, month.expected), (place + 0.72, month.expected)], "expect")
        if month.alarmed:
            plane.words(place + 0.5, max(month.seen, month.high or 0), "!")
    return plane


def _expected(month: Month) -> str:
    if month.expected is None:
        return "not known"
    return f"{month.expected:.2g} ({month.low or 0:.0f} to {month.high or 0:.0f})"


def cost_chart(
    costs: Sequence[tuple[float, float]], best: float, flat: tuple[float, float], saving: float, unit: str
) -> Chart:
    """Return what replacing at each age costs beside running to failure (1.0), with the ages that cost about the same."""
    title = "Cost of replacing by age"
    told = (
        f"Least at about {say_number(best)} {unit}: {saving * 100:.0f} % below running to failure. Anything from"
        f" {say_number(flat[0])} to {say_number(flat[1])} {unit} costs about the same."
    )

    def draw(width: float, height: float) -> Plane:
        shown = [(age, cost) for age, cost in costs if cost <= DEAREST]
        plane = Plane(0.0, costs[-1][0], 0.0, max(cost for _, cost in shown) * 1.05, width, height)
        age_axis(plane, unit, lambda cost: f"{cost * 100:.0f} %")
        plane.level(1.0, "run to failure", "warn")
        plane.line(shown, "known")
        plane.mark(best, f"least: {say_number(best)} {unit}", "event")
        plane.span(*flat, css="flat")
        return plane

    key = [("known", "cost per distance or time; running to failure is 100 %"), ("flat", "about the same")]
    rows = thinned([[f"{say_age(age)} {unit}", f"{cost * 100:.0f} %"] for age, cost in costs])
    columns = ["Replaced at", "Cost beside running to failure"]
    return Chart("cost", title, finished("cost", title, told, draw), told, key, columns, rows)


def range_bar(times: float, low: float, high: float, told: str) -> SafeString:
    """Return a small bar: how many times the rate of its peers, with its range, from a sixteenth to sixteen times.

    The stroke in the middle is as its peers. 0 stands at the left edge, with no mark: nothing failed.
    """

    def at(value: float) -> float:
        share = (math.log2(value) / WIDEST + 1.0) / 2.0 if value > 0 else 0.0
        return round(2 + (RANGE - 4) * min(max(share, 0.0), 1.0), 1)

    mark = format_html('<path class="rate" d="M{} 10 l5 -6 5 6 -5 6 Z"/>', round(at(times) - 5, 1)) if times > 0 else ""
    width = round(max(at(high) - at(low), 2.0), 1)
    drawing = (
        '<svg class="range-bar" viewBox="0 0 {} 20" width="{}" height="20" role="img" aria-label="{}">'
        '<path class="base" d="M2 10 H{}"/><rect class="range" x="{}" y="5" width="{}" height="10"/>'
        '<path class="usual" d="M{} 1 V19"/>{}</svg>'
    )
    return format_html(drawing, RANGE, RANGE, told, RANGE - 2, at(low), width, at(1.0), mark)
