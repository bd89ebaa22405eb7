"""The course of a bulletin as a chart: how many components were under it, and how many of them done, day by day."""

from datetime import date

from django.utils.safestring import SafeString

from services.due_words import say_date
from tracker.pages.charts import Plane, drawn_twice, month_ticks, nice_ticks

Points = list[tuple[float, float]]
Course = list[tuple[date, int, int]]  # day, components under the bulletin, of them done


def course_chart(course: Course, today: date) -> SafeString | None:
    """Return the chart up to today; None while everything happened on one day."""
    if not course or course[0][0] >= today:
        return None
    first, last = course[0][0].toordinal(), today.toordinal()
    under = _steps([(day.toordinal(), number) for day, number, _ in course], last)
    done = _steps([(day.toordinal(), number) for day, _, number in course], last)
    most = max(number for _, number, _ in course)

    def draw(width: float, height: float, css: str) -> SafeString:
        plane = Plane(first, max(last, first + 1), 0, max(most, 1), width, height)
        plane.axes(
            _days(first, last), "components done, and under it", lambda value: f"{value:,.0f}",
            [tick for tick in nice_ticks(0, most, 5) if tick == int(tick)],
        )  # fmt: skip
        plane.line(under, "event")
        plane.line(done, "known")
        return plane.svg(f"course-{css}", "Done over time", _told(course), css)

    return drawn_twice(draw)


def _steps(points: Points, last: float) -> Points:
    """A line that stays level until something happens."""
    drawn: Points = []
    for day, number in points:
        if drawn:
            drawn.append((day, drawn[-1][1]))
        drawn.append((day, number))
    return [*drawn, (last, drawn[-1][1])]


def _days(first: int, last: int) -> list[tuple[float, str]]:
    """Beginnings of months; the two ends where no month begins between them."""
    ticks = month_ticks(first, last)
    ends = [(float(day), say_date(date.fromordinal(day))) for day in (first, last)]
    return ticks if len(ticks) > 1 else ends


def _told(course: Course) -> str:
    day, under, done = course[-1]
    return f"On {say_date(day)}, {done} of {under} components were done."
