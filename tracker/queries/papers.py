"""What all papers carry: the workshop's letterhead, title, language, and when it was printed."""

from datetime import datetime
from typing import Any

from django.conf import settings

from services.due_words import say_date
from services.language import ENGLISH, say, spoken
from services.life import Life
from services.units import say_distance, say_pressure
from tracker.queries.clock import local_date, workshop_zone

REGIONS = {ENGLISH: "gb"}  # whose way of writing a language has, where it is not that of the country it is named after


def letterhead(title: str, now: datetime, of: str) -> dict[str, Any]:
    """Return what every template asks for, in the language spoken; `of` names in the footer what the paper is about."""
    moment = now.astimezone(workshop_zone())
    return {
        "title": title,
        "lang": spoken(),
        "region": REGIONS.get(spoken(), spoken()),
        "paging": say("Page {page} of {pages}"),
        "workshop": {
            "name": settings.WORKSHOP_NAME, "phone": settings.WORKSHOP_PHONE, "email": settings.WORKSHOP_EMAIL,
        },
        "printed": say("{of}, printed {date}, {time}", of=of, date=say_date(moment.date()), time=f"{moment:%H:%M}"),
    }  # fmt: skip


def say_day(moment: datetime) -> str:
    """Return the workshop's date of a moment as papers write it."""
    return say_date(local_date(moment))


def say_life(life: Life, unit: str = "km") -> str:
    """Return how far a component has run: 'about 3,210 km', 'not known'."""
    if life.is_unknown:
        return "not known"
    return f"{'about ' if life.is_estimate else ''}{say_distance(life.km, unit)}"


def say_value(value: float, unit: str) -> str:
    """Return a measured value with its unit as papers write it: '0.81 %'; a pressure (kPa) in bar."""
    return say_pressure(value) if unit == "kPa" else f"{value:,.6g} {unit}"
