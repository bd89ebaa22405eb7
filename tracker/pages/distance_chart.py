"""The chart of a trike's distance; every number of it also stands in the table under it."""

from dataclasses import dataclass

from django.utils.safestring import SafeString

from services.due_words import say_date
from services.units import km_from_miles, say_distance
from tracker.pages.charts import Plane, drawn_twice, month_ticks
from tracker.queries.clock import date_of_day, day_of_date
from tracker.queries.pictures import DistancePicture

VERDICTS = {"accepted": "read", "suspect": "in doubt"}


@dataclass(frozen=True)
class DistanceChart:
    """The drawing, and the rows of its table: (day, at least, life, hardly more than)."""

    drawing: SafeString
    rows: list[tuple[str, str, str, str]]


def distance_chart(picture: DistancePicture, unit: str = "km") -> DistanceChart:
    """Return the chart in `unit`, with its table."""
    told = _sentence(picture, unit)

    def draw(width: float, height: float, css: str) -> SafeString:
        return _plane(picture, unit, width, height).svg(f"distance-{css}", "Distance", told, css)

    return DistanceChart(drawn_twice(draw), _rows(picture, unit))


def _plane(picture: DistancePicture, unit: str, width: float, height: float) -> Plane:
    scale = 1.0 / float(km_from_miles(1.0)) if unit == "mi" else 1.0
    days = [row[0] for row in picture.ahead]
    lows, middles, highs = ([row[k] * scale for row in picture.ahead] for k in (1, 2, 3))
    top = max([*highs, *(seen.life_km * scale for seen in picture.readings), 1.0])
    plane = Plane(picture.line[0][0], days[-1], 0.0, top * 1.06, width, height)
    plane.axes(month_ticks(plane.x_low, plane.x_high), f"life distance, {unit}", lambda value: f"{value:,.0f}")
    plane.band(days, lows, highs)
    plane.line(list(zip(days, middles, strict=True)), "middle")
    plane.line([(day, km * scale) for day, km in picture.line], "known")
    for day in picture.swaps:
        plane.mark(day, "new display", "event")
    plane.mark(day_of_date(picture.today), "today")
    for seen in picture.readings:
        draw = plane.cross if seen.verdict == "suspect" else plane.dot
        draw(seen.day, seen.life_km * scale)
    return plane


def _sentence(picture: DistancePicture, unit: str) -> str:
    """What somebody who cannot see the chart is told."""
    (begun, _), (last, life), end = picture.line[0], picture.line[-1], picture.ahead[-1]
    read = sum(seen.verdict == "accepted" for seen in picture.readings)
    return (
        f"{read} readings since {say_date(date_of_day(begun))}, up to {say_distance(life, unit)} on "
        f"{say_date(date_of_day(last))}. By {say_date(date_of_day(end[0]))} between {say_distance(end[1], unit)} and "
        f"{say_distance(end[3], unit)}, most likely {say_distance(end[2], unit)}."
    )


def _rows(picture: DistancePicture, unit: str) -> list[tuple[str, str, str, str]]:
    rows = [
        (say_date(date_of_day(seen.day)), "", f"{say_distance(seen.life_km, unit)} {VERDICTS[seen.verdict]}", "")
        for seen in picture.readings
    ]
    for day, *ends in picture.ahead[1::2]:
        low, middle, high = (say_distance(km, unit) for km in ends)
        rows.append((say_date(date_of_day(day)), low, middle, high))
    return rows
