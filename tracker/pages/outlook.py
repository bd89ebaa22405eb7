"""The outlook: the bench's coming weeks, how the ranges of dates held, and what the fleet rides."""

from math import exp

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from tracker.pages.roles import page
from tracker.queries.outlook import Record, bench_outlook, record

BAR = 320  # width of the bars, in their own units
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@page()
def outlook(request: HttpRequest) -> HttpResponse:
    """Bench minutes by week with their range, dates looked back at, the season."""
    ahead, known = bench_outlook(timezone.now()), record()
    most = max([week.high for week in ahead.weeks] + [1.0])
    weeks = [
        {"week": week, "bar": _length(week.expected, most), "low": _length(week.low, most),
         "span": _length(week.high, most) - _length(week.low, most)}
        for week in ahead.weeks
    ]  # fmt: skip
    context = {"ahead": ahead, "weeks": weeks, "bar": BAR, "known": known, **(_learned(known) if known else {})}
    return render(request, "desk/outlook.html", context)


def _length(minutes: float, most: float) -> int:
    return round(BAR * minutes / most)


def _learned(known: Record) -> dict[str, object]:
    most = max(known.rates.months)
    return {
        "held": [
            {
                "ahead": held.ahead,
                "looked": held.over_all,
                "limits": held.over_all.limits(),
                "classes": held.classes.items(),
            }
            for held in known.held
        ],
        "saved": known.row.numbers.get("visits"),
        "a_year": exp(known.rates.mu),
        "months": [
            {"name": name, "weight": weight, "bar": round(BAR * weight / most)}
            for name, weight in zip(MONTHS, known.rates.months, strict=True)
        ],
    }
