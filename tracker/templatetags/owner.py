"""How owners' pages write days, in the language they are read in."""

from datetime import date

from django import template

from services.calendar_words import say_date, say_weekday, say_weekday_date

register = template.Library()


@register.filter
def weekday(day: date) -> str:
    """Return a day near enough to need no year: Tuesday 14 April."""
    return say_weekday(day)


@register.filter
def weekday_date(day: date) -> str:
    """Return 'Tuesday 14 April 2026'."""
    return say_weekday_date(day)


@register.filter
def short_date(day: date) -> str:
    """Return '14 Apr 2026'."""
    return say_date(day)
