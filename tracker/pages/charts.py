"""Charts as SVG drawn here: a plane with scales and ticks, lines, bands, marks. No script; colours are classes of desk.css.

Each chart is drawn twice, for the desk and for a phone, since letters in a scaled drawing become too small to read.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

SIZES = {"wide": (880.0, 340.0), "narrow": (340.0, 300.0)}  # px; the narrow one fits a phone's panel
LEFT, RIGHT, TOP, BOTTOM = 62.0, 16.0, 16.0, 48.0
LETTER = 7.8  # px that one letter needs, about
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)


def nice_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return at most `most` + 1 round numbers between low and high: steps of 1, 2 or 5 times a power of ten."""
    span = max(high - low, 1e-9)
    raw = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [round(index * step, 10) + 0.0 for index in range(first, math.floor(high / step + 1e-9) + 1)]


def month_ticks(low: float, high: float, most: int = 8) -> list[tuple[float, str]]:
    """Return (day ordinal, label) at beginnings of months: 'Mar 26', or the year alone where only Januaries are marked."""
    begins, ends = date.fromordinal(int(low)), date.fromordinal(int(high))
    months = (ends.year - begins.year) * 12 + ends.month - begins.month + 1
    step = next((step for step in MONTH_STEPS if months / step <= most), MONTH_STEPS[-1])
    found = []
    for count in range(begins.year * 12, ends.year * 12 + 12):
        day = date(count // 12, count % 12 + 1, 1)
        if count % step == 0 and low <= day.toordinal() <= high:
            found.append((float(day.toordinal()), f"{day:%Y}" if step % 12 == 0 else f"{day:%b %y}"))
    return found


@dataclass
class Plane:
    """A drawing area in px with straight scales for x and y. What is drawn collects in `parts`, later above earlier."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float
    width: float
    height: float
    parts: list[SafeString] = field(default_factory=list)
    bottom: float = BOTTOM  # px below the x axis: more where numbers stand there

    def x(self, value: float) -> float:
        """Return px of an x value."""
        share = (value - self.x_low) / max(self.x_high - self.x_low, 1e-9)
        return round(LEFT + share * (self.width - LEFT - RIGHT), 1)

    def y(self, value: float) -> float:
        """Return px of a y value; high values stand high, what lies outside is cut at the edge."""
        share = min(max((value - self.y_low) / max(self.y_high - self.y_low, 1e-9), 0.0), 1.0)
        return round(self.foot - share * (self.foot - TOP), 1)

    @property
    def foot(self) -> float:
        """Return px of the x axis."""
        return self.height - self.bottom

    def path(self, xs: Sequence[float], ys: Sequence[float]) -> str:
        """Return 'M x y L x y ...' through the points."""
        return "M" + " L".join(f"{self.x(x)} {self.y(y)}" for x, y in zip(xs, ys, strict=True))

    def line(self, points: Sequence[tuple[float, float]], css: str = "line") -> None:
        """Draw a line through (x, y) points."""
        if points:
            xs, ys = zip(*points, strict=True)
            self.parts.append(format_html('<path class="{}" d="{}"/>', css, self.path(xs, ys)))

    def band(self, xs: Sequence[float], lows: Sequence[float], highs: Sequence[float], css: str = "band") -> None:
        """Fill between two lines over the same xs."""
        outline = f"{self.path(xs, lows)} L{self.path(xs[::-1], highs[::-1])[1:]} Z"
        self.parts.append(format_html('<path class="{}" d="{}"/>', css, outline))

    def dot(self, x: float, y: float, css: str = "dot") -> None:
        """Draw a measured point."""
        self.parts.append(format_html('<circle class="{}" cx="{}" cy="{}" r="4"/>', css, self.x(x), self.y(y)))

    def cross(self, x: float, y: float, css: str = "cross") -> None:
        """Draw a point that was laid aside."""
        left, top = self.x(x) - 5, self.y(y) - 5
        drawn = f"M{left:.1f} {top:.1f} l10 10 m0 -10 l-10 10"
        self.parts.append(format_html('<path class="{}" d="{}"/>', css, drawn))

    def bar(self, x: float, low: float, high: float, css: str = "error") -> None:
        """Draw an upright bar with feet: between which values the truth lies."""
        middle, bottom, top = self.x(x), self.y(low), self.y(high)
        feet = f"M{middle} {bottom} V{top} M{middle - 4:.1f} {bottom} h8 M{middle - 4:.1f} {top} h8"
        self.parts.append(format_html('<path class="{}" d="{}"/>', css, feet))

    def level(self, y: float, words: str, css: str = "limit", *, below: bool = False) -> None:
        """Draw a level right across with its words at the left end, above the line or below it."""
        at = self.y(y)
        drawn = '<path class="{}" d="M{} {} H{}"/><text class="label {}" x="{}" y="{}">{}</text>'
        place = at + 15 if below else at - 5
        self.parts.append(format_html(drawn, css, LEFT, at, self.width - RIGHT, css, LEFT + 6, round(place, 1), words))

    def mark(self, x: float, words: str, css: str = "today") -> None:
        """Draw an upright line, with words at its upper end."""
        at = self.x(x)
        right = at > self.width * 0.6
        anchor = "end" if right else "start"
        drawn = '<path class="{}" d="M{} {} V{}"/><text class="label" x="{}" y="{}" text-anchor="{}">{}</text>'
        self.parts.append(
            format_html(drawn, css, at, TOP, self.foot, round(at + (-5 if right else 5), 1), TOP + 10, anchor, words)
        )  # fmt: skip

    def span(self, low: float, high: float, css: str = "span") -> None:
        """Draw a thick bar along the x axis: between which x values something is likely."""
        left, right = self.x(low), self.x(min(high, self.x_high))
        drawn = '<rect class="{}" x="{}" y="{}" width="{}" height="6"/>'
        self.parts.append(format_html(drawn, css, left, self.foot - 3, round(max(right - left, 2.0), 1)))

    def rug(self, xs: Sequence[float], css: str = "rug") -> None:
        """Draw a short stroke on the x axis for each value."""
        if len(xs):
            drawn = " ".join(f"M{self.x(x)} {self.foot:g} v-9" for x in xs)
            self.parts.append(format_html('<path class="{}" d="{}"/>', css, drawn))

    def column(self, low: float, high: float, y: float, css: str = "column") -> None:
        """Draw an upright bar from the x axis up to y, between two x values."""
        left, top = self.x(low), self.y(y)
        drawn = '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>'
        sizes = round(self.x(high) - left, 1), round(self.foot - top, 1)
        self.parts.append(format_html(drawn, css, left, top, *sizes))

    def words(self, x: float, y: float, words: str) -> None:
        """Write words in the middle above a point."""
        drawn = '<text class="label" x="{}" y="{}" text-anchor="middle">{}</text>'
        self.parts.append(format_html(drawn, self.x(x), round(self.y(y) - 6, 1), words))

    def under(self, values: Sequence[tuple[float, str]], name: str) -> None:
        """Write numbers under the x axis, those that would touch left out; `name` before them. Needs a deeper bottom."""
        title = '<text class="tick" x="{}" y="{}">{}</text>'
        self.parts.append(format_html(title, 0, self.foot + 40, name))
        rows, free = [], 0.0
        for value, words in values:
            at, half = self._held(value, words), len(words) * LETTER / 2
            if at - half >= free:
                rows.append((at, self.foot + 58, words))
                free = at + half + 2 * LETTER
        self.parts.append(format_html_join("", '<text class="tick" x="{}" y="{}" text-anchor="middle">{}</text>', rows))

    def sideways(self, low: float, high: float, y: float, css: str = "error") -> None:
        """Draw a bar with feet along x at one height: between which x values the truth lies."""
        left, right, at = self.x(low), self.x(high), self.y(y)
        feet = f"M{left} {at} H{right} M{left} {at - 4:.1f} v8 M{right} {at - 4:.1f} v8"
        self.parts.append(format_html('<path class="{}" d="{}"/>', css, feet))

    def axes(
        self, x_ticks: Sequence[tuple[float, str]], x_title: str, say_y: Callable[[float], str],
        y_ticks: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """Draw the grid, its numbers and the title of the x axis. Call it first: everything else lies above.

        y_ticks: where the grid lies, round numbers if not said.
        """
        foot = self.foot
        rows = (
            (LEFT, self.y(tick), self.width - RIGHT, LEFT - 7, self.y(tick) + 4, say_y(tick))
            for tick in y_ticks or self.y_ticks()
        )
        self.parts.append(format_html_join(
            "", '<path class="grid" d="M{} {} H{}"/><text class="tick" x="{}" y="{}" text-anchor="end">{}</text>', rows
        ))  # fmt: skip
        columns = ((self.x(at), foot, self._held(at, words), foot + 19, words) for at, words in self._apart(x_ticks))
        self.parts.append(format_html_join(
            "", '<path class="grid" d="M{} {} v5"/><text class="tick" x="{}" y="{}" text-anchor="middle">{}</text>', columns
        ))  # fmt: skip
        title = '<path class="axis" d="M{} {} H{}"/><text class="tick" x="{}" y="{}" text-anchor="end">{}</text>'
        end = self.width - RIGHT
        self.parts.append(format_html(title, LEFT, foot, end, end, foot + 40, x_title))

    def y_ticks(self) -> list[float]:
        """Return the round numbers of the y axis."""
        return nice_ticks(self.y_low, self.y_high, 5)

    def _held(self, at: float, words: str) -> float:
        half = len(words) * LETTER / 2
        return round(min(self.x(at), self.width - half), 1)

    def _apart(self, ticks: Sequence[tuple[float, str]]) -> list[tuple[float, str]]:
        """The ticks, or every second, third, ... of them, so that words do not touch."""
        if len(ticks) < 2:
            return list(ticks)
        room = self.x(ticks[1][0]) - self.x(ticks[0][0])
        need = (max(len(words) for _, words in ticks) + 1) * LETTER
        return list(ticks[:: max(math.ceil(need / max(room, 1.0)), 1)])

    def svg(self, name: str, title: str, told: str, css: str) -> SafeString:
        """Return the finished drawing; `name` makes its ids, `told` says in words what it shows."""
        drawing = (
            '<svg class="chart {css}" viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}" role="img" '
            'aria-labelledby="{name}-title {name}-desc"><title id="{name}-title">{title}</title>'
            '<desc id="{name}-desc">{told}</desc>{parts}</svg>'
        )
        sizes = {"width": mark_safe(f"{self.width:g}"), "height": mark_safe(f"{self.height:g}")}
        return format_html(
            drawing.replace(":g}", "}"), css=css, name=name, title=title, told=told, parts=mark_safe("".join(self.parts)),
            **sizes,
        )  # fmt: skip


def stepped(
    xs: Sequence[float], ys: Sequence[float], first: tuple[float, float], end: float
) -> tuple[list[float], list[float]]:
    """Return the corners of steps: from `first` level to each x, there to its y, and level to `end`."""
    across, up = [first[0]], [first[1]]
    for x, y in zip(xs, ys, strict=True):
        across += [x, x]
        up += [up[-1], y]
    return [*across, max(end, across[-1])], [*up, up[-1]]


def log_ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Return (ln of it, label) of 1, 2 and 5 times powers of ten between two ages above 0."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [factor * 10.0**power for power in powers for factor in (1, 2, 5)]
    return [
        (math.log(value), f"{value:,.0f}" if value >= 1 else f"{value:g}") for value in found if low <= value <= high
    ]


@dataclass(frozen=True)
class Chart:
    """A drawing with its key (class, words), what it shows in a sentence, and the table of its numbers."""

    name: str
    title: str
    drawing: SafeString
    told: str
    key: Sequence[tuple[str, str]]
    columns: Sequence[str]
    rows: Sequence[Sequence[str]]

    @property
    def labelled(self) -> list[list[tuple[str, str]]]:
        """The rows with the name of its column beside every cell, for phones."""
        return [list(zip(self.columns, row, strict=True)) for row in self.rows]


def drawn_twice(draw: Callable[[float, float, str], SafeString]) -> SafeString:
    """Return the chart for the desk and for a phone; `draw(width, height, css)`. Style sheets show one of them."""
    return mark_safe("".join(draw(width, height, css) for css, (width, height) in SIZES.items()))
