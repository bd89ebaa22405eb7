"""Days in words: '14 Apr 2026', 'Tuesday 14 April', as the language spoken writes them."""

from datetime import date

from services.language import marked, say

MONTHS = marked((
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
))  # fmt: skip
_SHORT = marked(("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"))
WEEKDAYS = marked(("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"))


def say_date(day: date) -> str:
    """Return '14 Apr 2026'."""
    return say("{day} {month} {year}", day=str(day.day), month=say(_SHORT[day.month - 1]), year=str(day.year))


def say_weekday(day: date) -> str:
    """Return 'Tuesday 14 April': a day near enough to need no year."""
    return say("{weekday} {date}", weekday=say(WEEKDAYS[day.weekday()]), date=say_day_of_year(day))


def say_weekday_date(day: date) -> str:
    """Return 'Tuesday 14 April 2026'."""
    return say(
        "{weekday} {date} {year}", weekday=say(WEEKDAYS[day.weekday()]), date=say_day_of_year(day), year=str(day.year)
    )


def say_day_of_year(day: date) -> str:
    """Return '14 April'."""
    return say("{day} {month}", day=str(day.day), month=say(MONTHS[day.month - 1]))
