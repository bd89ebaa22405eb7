"""Forecasts in a mechanic's words: a range of days as 'mid-March to late April, most likely 2 April', and why.

Dates in, words out; an end after the horizon is None and reads 'more than two years'.
"""

import math
from datetime import date

from services.calendar_words import MONTHS, say_date, say_day_of_year
from services.language import marked, say, say_number
from services.riding import RiderRate
from services.season import Months
from services.units import miles_from_km, say_distance, say_share

BEYOND, ALREADY, CERTAINLY, NO_IDEA = marked((
    "more than two years", "probably already due", "almost certainly already due", "not known: please read the meter",
))  # fmt: skip
_PARTS = marked({"early": "early {month}", "mid": "mid-{month}", "late": "late {month}"})
_UNKNOWN_AFTER_DAYS = 365
_SHARES = ((0.22, "a fifth of"), (0.29, "a quarter of"), (0.41, "a third of"), (0.58, "half"), (0.71, "two thirds of"))
_TRIGGERS = {
    "date": "The calendar comes first", "km": "The distance comes first", "hours": "The hours come first",
    "cycles": "The charge cycles come first",
}  # fmt: skip


def date_or_none(day: float) -> date | None:
    """Return the date of a day, None after the horizon (inf) or where the calendar ends."""
    return date.fromordinal(int(day)) if math.isfinite(day) and day < date.max.toordinal() else None


def say_range(low: date | None, middle: date | None, high: date | None, today: date) -> str:
    """Return the 10, 50 and 90 % dates in words, for a reader on `today`. None: after the horizon of two years.

    A range within nine days is one date; parts of a month otherwise; the year is said where it is not today's.
    """
    if low is None:
        return say(BEYOND)
    if low <= today and (high is None or (high - today).days > _UNKNOWN_AFTER_DAYS):
        return say(NO_IDEA)
    if middle is not None and middle <= today:
        return say(ALREADY if high is None or high > today else CERTAINLY)
    if high is not None and (high - low).days <= 9:
        return say("about {day}", day=_day_words(middle, today))
    begins = say("now") if low <= today else _part_of_month(low, today)
    told = {"begin": begins, "end": _end_words(low, high, today)}
    if middle is None:
        return say("{begin} to {end}", **told)
    return say("{begin} to {end}, most likely {middle}", middle=_day_words(middle, today), **told)


def _end_words(low: date, high: date | None, today: date) -> str:
    if high is None:
        return say("more than two years from now")
    ends = _part_of_month(high, today)
    return _day_words(high, today) if ends == _part_of_month(max(low, today), today) else ends


def _part_of_month(day: date, today: date) -> str:
    part = "early" if day.day <= 10 else "mid" if day.day <= 20 else "late"
    return f"{say(_PARTS[part], month=say(MONTHS[day.month - 1]))}{_year_words(day, today)}"


def _day_words(day: date, today: date) -> str:
    return f"{say_day_of_year(day)}{_year_words(day, today)}"


def _year_words(day: date, today: date) -> str:
    return "" if day.year == today.year else f" {day.year}"


def say_season(months: Months) -> str:
    """Return what a day of the slowest quarter counts beside one of the fastest: 'a winter day counts a third of a summer's'.

    In the reader's own half of the world winter is winter: southern machines read the months six months shifted.
    """
    quarters = [sum(months[(month + k) % 12] for k in range(3)) for month in range(12)]
    share = min(quarters) / max(quarters)
    words = next((words for most, words in _SHARES if share < most), None)
    return f"a winter day counts {words} a summer's" if words else "all seasons count alike"


def say_rate(rate: RiderRate, unit: str = "km") -> str:
    """Return 'rides like 3,100 km a year; its own readings count 84 %' in the reader's unit, to two figures."""
    a_year = _two_figures(rate.a_year, unit)
    if not rate.stretches:
        return f"no riding known yet: reckoned like the others, {a_year} a year"
    return f"rides like {a_year} a year; its own readings count {say_share(rate.share)}"


def why(rate: RiderRate, target_km: float, *, unit: str = "km", trigger: str | None = "km") -> str:
    """Return the numbers behind a due date, in km or miles, for the panel that explains it.

    target_km: life of the trike at which it is due; trigger: what decides at the median (services/first_limits.py), None:
    nothing within two years.
    """
    on = say_date(rate.read_on)
    where = (
        f"last reading {on} at {say_distance(rate.read_km, unit)}"
        if rate.read_km
        else f"no reading since delivery {on}"
    )
    left = target_km - rate.read_km
    ahead = f"{say_distance(left, unit)} left then" if left > 0 else "reached by then"
    sentence = "; ".join([say_rate(rate, unit), where, ahead, say_season(rate.months)])
    deciding = "" if trigger is None else f" {_TRIGGERS[trigger]}."
    return f"{sentence[0].upper()}{sentence[1:]}.{deciding}"


def _two_figures(km: float, unit: str) -> str:
    """A distance to two figures, such as 3,100 km: the third is never known."""
    whole = round(miles_from_km(km) if unit == "mi" else km)
    step = 10 ** max(len(str(whole)) - 2, 0)
    return f"{say_number(round(whole / step) * step, ',')} {unit}"
