"""How the pages write distances, days and states. Words only: what they say was decided elsewhere."""

from datetime import date, datetime
from typing import Any

from django import forms, template
from django.conf import settings
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.html import format_html, format_html_join

from services.due_words import say_date
from services.failures import CAUSES, FOUND, MODES
from services.language import LANGUAGES, known, say
from services.positions import POSITIONS
from services.units import say_distance, say_pressure, say_share

register = template.Library()

STATUS_WORDS = {"overdue": "Overdue", "due": "Due now", "soon": "Soon", "ok": "Later"}
STATUS_CLASS = {"ok": "later", "estimated": "soon"}
FREE = (forms.TextInput, forms.DateInput, forms.DateTimeInput)  # where an empty field says that it is optional
OPTIONAL = ' <span class="optional">{}</span>'


@register.filter
def km(value: float | None, unit: str = "km") -> str:
    """Return a distance kept in km as people of `unit` write it."""
    return "" if value is None else say_distance(float(value), unit)


@register.filter
def hours(minutes: float | None) -> str:
    """Minutes at the bench as '16 h' or '45 min'."""
    if minutes is None:
        return ""
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.0f} h"


@register.filter
def percent(share: float | None) -> str:
    """A share as '80 %'."""
    return "" if share is None else say_share(share)


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
    return say_date(value)


@register.filter
def moment(value: datetime | None) -> str:
    """Return a moment on the workshop's clock: 14 Apr 2026, 09:05."""
    if value is None:
        return ""
    local = timezone.localtime(value)
    return f"{say_date(local)}, {local:%H:%M}"


@register.filter
def language_name(code: str) -> str:
    """Return a language's own name for itself; an owner's we do not speak reads as English, which they get."""
    return LANGUAGES[known(code)]


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


@register.simple_tag
def status(code: str, words: str = "") -> str:
    """Draw a state as a shape and a word."""
    css = STATUS_CLASS.get(code, code)
    return format_html(
        '<span class="status {}">{}</span>', css, words or STATUS_WORDS.get(code, code.replace("_", " "))
    )


@register.simple_tag
def field(bound: BoundField, unit: str = "", hint: str = "", bare: bool = False) -> str:
    """Draw one form field: label, input with its unit, hint, and the refusal right beside it.

    Written out here and not in a template: a job card draws hundreds of them.
    """
    if bound.is_hidden:
        return bound.as_widget()
    widget, errors, hint = bound.field.widget, bound.errors, hint or bound.help_text
    unit = unit or widget.attrs.get("data-unit", "")
    free = not bound.field.required and not bare and isinstance(widget, FREE)
    mark = format_html(OPTIONAL, say("(optional)")) if free else ""
    label = format_html('<label for="{}">{}{}</label>', bound.id_for_label, bound.label, mark)
    if getattr(widget, "input_type", "") == "checkbox":
        drawn = format_html('<div class="tick">{}{}</div>', bound.as_widget(), label)
    elif unit:
        drawn = format_html('{}<span class="unit">{}<span>{}</span></span>', label, bound.as_widget(), unit)
    else:
        drawn = format_html("{}{}", label, bound.as_widget())
    told = format_html_join("", '<span class="refused" id="{}_error">{}</span>', ((bound.auto_id, e) for e in errors))
    help_line = format_html('<span class="hint" id="{}_helptext">{}</span>', bound.auto_id, hint) if hint else ""
    return format_html('<div class="field{}">{}{}{}</div>', " bad" if errors else "", drawn, told, help_line)


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
