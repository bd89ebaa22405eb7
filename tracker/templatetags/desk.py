"""How the pages write distances, days and states. Words only: what they say was decided elsewhere."""

from datetime import date, datetime
from typing import Any

from django import forms, template
from django.conf import settings
from django.utils import timezone

from services.failures import CAUSES, FOUND, MODES
from services.positions import POSITIONS
from services.units import say_distance, say_pressure

register = template.Library()

STATUS_WORDS = {"overdue": "Overdue", "due": "Due now", "soon": "Soon", "ok": "Later"}
STATUS_CLASS = {"ok": "later"}


@register.filter
def km(value: float | None, unit: str = "km") -> str:
    """Return a distance kept in km as people of `unit` write it."""
    return "" if value is None else say_distance(float(value), unit)


@register.filter
def pressure(value: float | None, unit: str = "bar") -> str:
    """Return a pressure kept in kPa as people of `unit` write it."""
    return "" if value is None else say_pressure(float(value), unit)


@register.filter
def day(value: date | datetime | None) -> str:
    """Return a date the way the desk reads it: 14 Apr 2026."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        value = timezone.localtime(value).date()
    return f"{value.day} {value:%b %Y}"


@register.filter
def moment(value: datetime | None) -> str:
    """Return a moment on the workshop's clock: 14 Apr 2026, 09:05."""
    if value is None:
        return ""
    local = timezone.localtime(value)
    return f"{local.day} {local:%b %Y, %H:%M}"


@register.filter
def failure_words(failure: Any) -> str:
    """Return how, why and how found of a failure, in the words of its lists."""
    told = [MODES.get(failure.mode, failure.mode)]
    if failure.cause:
        told.append(f"cause: {CAUSES.get(failure.cause, failure.cause)}")
    if failure.found:
        told.append(FOUND.get(failure.found, failure.found))
    return ", ".join(told)


@register.filter
def spoken(code: str) -> str:
    """Return a code as words: heads_up becomes heads up."""
    return str(code).replace("_", " ")


@register.filter
def position(code: str) -> str:
    """Return a position's title."""
    return POSITIONS[code].title if code in POSITIONS else code


@register.filter
def plain_number(value: Any) -> str:
    """Return a number without needless zeros: 1.50 becomes 1.5."""
    if value is None or value == "":
        return ""
    text = f"{float(value):,.3f}".rstrip("0").rstrip(".")
    return text or "0"


@register.inclusion_tag("desk/parts/status.html")
def status(code: str, words: str = "") -> dict[str, str]:
    """Draw a state as a shape and a word."""
    return {"css": STATUS_CLASS.get(code, code), "words": words or STATUS_WORDS.get(code, code.replace("_", " "))}


@register.inclusion_tag("desk/parts/field.html")
def field(bound: Any, unit: str = "", hint: str = "", bare: bool = False) -> dict[str, Any]:
    """Draw one form field: label, input with its unit, hint, and the refusal right beside it."""
    widget = bound.field.widget
    return {
        "field": bound,
        "unit": unit or widget.attrs.get("data-unit", ""),
        "hint": hint or bound.help_text,
        "is_tick": getattr(widget, "input_type", "") == "checkbox",
        "optional": not bound.field.required
        and not bare
        and isinstance(widget, forms.TextInput | forms.DateInput | forms.DateTimeInput),
    }


@register.simple_tag(takes_context=True)
def query(context: dict[str, Any], **changes: Any) -> str:
    """Return the page's query string with some values changed; empty ones fall out."""
    params = context["request"].GET.copy()
    for name, value in changes.items():
        params.pop(name, None)
        if value not in (None, ""):
            params[name] = str(value)
    return f"?{params.urlencode()}" if params else "?"


@register.simple_tag
def workshop_name() -> str:
    """Return the workshop's name (for pages drawn without a request)."""
    return settings.WORKSHOP_NAME
