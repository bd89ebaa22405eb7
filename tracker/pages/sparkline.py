"""A small picture of one measured quantity over time, with its limit; the last value stands beside it in words."""

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from services.due_words import say_date
from services.wear_kinds import WEAR_KINDS
from tracker.queries.measured_series import Series

WIDTH, HEIGHT, EDGE = 104.0, 30.0, 4.0
MOST = 40  # the last so many: more would run into one


def sparkline(series: Series) -> SafeString:
    """Return the picture; what it shows is told in words for those who cannot see it."""
    values, days = series.values[-MOST:], [day.toordinal() for day in series.days[-MOST:]]
    levels = [*values, series.limit] if series.limit is not None else values
    low, high = min(levels), max(levels)
    span, whole = max(high - low, 1e-9), max(days[-1] - days[0], 1)

    def y(value: float) -> float:
        return round(HEIGHT - EDGE - (value - low) / span * (HEIGHT - 2 * EDGE), 1) if high > low else HEIGHT / 2

    points = [(round(EDGE + (day - days[0]) / whole * (WIDTH - 2 * EDGE), 1) if len(days) > 1 else WIDTH / 2, y(value))
              for day, value in zip(days, values, strict=True)]  # fmt: skip
    limit = "" if series.limit is None else f'<path class="limit" d="M0 {y(series.limit)}H{WIDTH:g}"/>'
    line = "M" + " L".join(f"{px} {py}" for px, py in points)
    return format_html(
        '<svg class="spark" viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img" aria-label="{told}">{limit}'
        '<path class="line" d="{line}"/>{dots}</svg>',
        w=f"{WIDTH:g}", h=f"{HEIGHT:g}", told=told(series), limit=mark_safe(limit), line=line, dots=_dots(points),
    )  # fmt: skip


def _dots(points: list[tuple[float, float]]) -> SafeString:
    *before, (x, y) = points
    small = "".join(f'<circle class="dot" cx="{px}" cy="{py}" r="1.3"/>' for px, py in before)
    return mark_safe(f'{small}<circle class="dot last" cx="{x}" cy="{y}" r="2.8"/>')


def told(series: Series) -> str:
    """Return what the picture shows, in a sentence."""
    count = len(series.days)
    first = f"{count} measurement{'s' if count > 1 else ''} of {series.quantity.title.lower()}"
    limit = f", limit {_say(series, series.limit)}" if series.limit is not None else ""
    if count == 1:
        return f"{first}: {_say(series, series.last)} on {say_date(series.days[0])}{limit}"
    return (
        f"{first}, {say_date(series.days[0])} to {say_date(series.days[-1])}: from {_say(series, series.values[0])} to "
        f"{_say(series, series.values[-1])}{limit}"
    )


def last_value(series: Series) -> str:
    """Return the last value as it was measured, with its unit."""
    return _say(series, series.last)


def _say(series: Series, value: float) -> str:
    kind = WEAR_KINDS.get(series.quantity.code)
    return kind.say.format(value) if kind else f"{value:g} {series.quantity.unit}".strip()
