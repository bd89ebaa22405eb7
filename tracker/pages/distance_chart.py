"""The chart of a trike's distance as an SVG drawn on the server: every number also stands in the table under it."""

from dataclasses import dataclass

from services.due_words import say_date
from services.units import say_distance
from tracker.pages.charts import Plane, Tick
from tracker.queries.clock import date_of_day, day_of_date
from tracker.queries.pictures import DistancePicture

WIDTH, HEIGHT = 720, 300
KM_PER_MILE = 1.609344
MARKS = {"accepted": "read", "suspect": "in doubt"}


@dataclass(frozen=True)
class Mark:
    """One reading: where it is drawn and what is said of it."""

    x: float
    y: float
    verdict: str
    words: str


@dataclass(frozen=True)
class DistanceChart:
    """Everything the template draws, and the rows of the table."""

    plane: Plane
    line: str
    band: str
    middle: str
    marks: list[Mark]
    swaps: list[float]
    today: float
    across: list[Tick]
    up: list[Tick]
    words: str
    rows: list[tuple[str, str, str, str]]


def distance_chart(picture: DistancePicture, unit: str = "km") -> DistanceChart:
    """Return the chart in `unit`."""
    factor = 1 / KM_PER_MILE if unit == "mi" else 1.0
    first, last = picture.line[0][0], picture.ahead[-1][0]
    top = max([row[3] for row in picture.ahead] + [seen.life_km for seen in picture.readings]) * factor
    plane = Plane(first, last, 0.0, max(top, 1.0) * 1.05, WIDTH, HEIGHT)
    lows, middles, highs = ([row[k] * factor for row in picture.ahead] for k in (1, 2, 3))
    days = [row[0] for row in picture.ahead]
    marks = [
        Mark(
            *plane.at(seen.day, seen.life_km * factor),
            seen.verdict,
            _words_of(seen.day, seen.display_km, seen.verdict, unit),
        )
        for seen in picture.readings
    ]
    return DistanceChart(
        plane=plane,
        line=plane.line([(day, km * factor) for day, km in picture.line]),
        band=plane.band(days, lows, highs),
        middle=plane.line(list(zip(days, middles, strict=True))),
        marks=marks,
        swaps=[plane.at(day, 0.0)[0] for day in picture.swaps],
        today=plane.at(day_of_date(picture.today), 0.0)[0],
        across=plane.day_ticks(),
        up=plane.number_ticks(unit),
        words=_sentence(picture, unit),
        rows=_rows(picture, unit),
    )


def _words_of(day: float, display_km: float, verdict: str, unit: str) -> str:
    return f"{say_date(date_of_day(day))}: {say_distance(display_km, unit)} {MARKS[verdict]}"


def _sentence(picture: DistancePicture, unit: str) -> str:
    """What somebody who cannot see the chart is told."""
    end = picture.ahead[-1]
    read = sum(seen.verdict == "accepted" for seen in picture.readings)
    return (
        f"Life distance since {say_date(date_of_day(picture.line[0][0]))}: {read} readings up to "
        f"{say_distance(picture.line[-1][1], unit)} on {say_date(date_of_day(picture.line[-1][0]))}; by "
        f"{say_date(date_of_day(end[0]))} between {say_distance(end[1], unit)} and {say_distance(end[3], unit)}, "
        f"most likely {say_distance(end[2], unit)}."
    )


def _rows(picture: DistancePicture, unit: str) -> list[tuple[str, str, str, str]]:
    """(day, at least, most likely, hardly more than), once a month ahead; readings with what they showed."""
    rows = [
        (say_date(date_of_day(seen.day)), "", f"{say_distance(seen.life_km, unit)} {MARKS[seen.verdict]}", "")
        for seen in picture.readings
    ]
    for day, low, middle, high in picture.ahead[1::2]:
        told = (say_distance(km, unit) for km in (low, middle, high))
        rows.append((say_date(date_of_day(day)), *told))
    return rows
