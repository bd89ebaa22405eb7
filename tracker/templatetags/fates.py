"""What every page of a trike says first: that it is stolen, or retired."""

from typing import Any

from django import template
from django.utils.html import format_html, format_html_join

from tracker.models import Trike
from tracker.templatetags.desk import day

register = template.Library()


@register.simple_tag(takes_context=True)
def fate_banner(context: dict[str, Any]) -> str:
    """Return the banner of the trike that the page is about; '' for any other page, and for a trike as it should be."""
    trike = trike_of(context)
    if trike is None:
        return ""
    banners = []
    if trike.stolen_on is not None:
        note = format_html(" {}.", trike.stolen_note.rstrip(".")) if trike.stolen_note else ""
        banners.append(
            format_html(
                '<div class="note stop" role="note"><p><b>Reported stolen</b> since {}: trike '
                '<span class="serial">{}</span>.{} Ask who brings it; no reminder is sent meanwhile.</p></div>',
                day(trike.stolen_on), trike, note,
            )
        )  # fmt: skip
    if trike.state == Trike.State.RETIRED:
        words = (
            '<div class="note ask" role="note"><p><b>Retired</b>{}: {}. Its record stays; its parts went on.</p></div>'
        )
        on = f" on {day(trike.retired_on)}" if trike.retired_on else ""
        banners.append(format_html(words, on, trike.retired_reason or "no reason written"))
    return format_html_join("", "{}", ((banner,) for banner in banners))


def trike_of(context: dict[str, Any]) -> Trike | None:
    """Return the trike of a page: by itself, or the one of its job card or reading."""
    for name in ("trike", "card", "reading"):
        thing = context.get(name)
        found = thing if isinstance(thing, Trike) else getattr(thing, "trike", None)
        if isinstance(found, Trike):
            return found
    return None
