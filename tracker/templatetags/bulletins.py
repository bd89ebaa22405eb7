"""How pages show bulletins: how urgent one is, what waits on a trike, shares in per cent."""

from typing import Any

from django import template
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from services.bulletin_words import SEVERITY_SHAPES, STATE_SHAPES, STATE_WORDS
from services.bulletins import DONE
from services.units import say_share
from tracker.models import Bulletin, BulletinPart
from tracker.queries.bulletin_pages import places_on
from tracker.queries.bulletins import of_trike
from tracker.templatetags.fates import trike_of

register = template.Library()


@register.simple_tag
def severity(row: Bulletin) -> str:
    """Draw how urgent a bulletin is: a shape and words, and whether somebody can be hurt."""
    hazard = mark_safe(' <span class="tag safety">safety</span>') if row.is_hazard and row.severity != "stop" else ""
    return format_html(
        '<span class="status {}">{}</span>{}',
        SEVERITY_SHAPES[row.severity],
        row.get_severity_display().capitalize(),
        hazard,
    )


@register.simple_tag
def share(value: float) -> str:
    """A share in per cent, one decimal where it is not round: '93.5 %', '100 %'."""
    return say_share(value, 1)


@register.simple_tag
def part_state(part: BulletinPart) -> str:
    """Draw the state of a component under a bulletin: a shape and words."""
    return format_html('<span class="status {}">{}</span>', STATE_SHAPES[part.state], STATE_WORDS[part.state])


@register.simple_tag
def component_banner(part: BulletinPart) -> str:
    """Return the line that says a bulletin is open on the component the page is about; '' where it is not."""
    if part.state in DONE or part.bulletin.state != Bulletin.State.RELEASED:
        return ""
    return _banner([part], {})


@register.simple_tag(takes_context=True)
def bulletin_banner(context: dict[str, Any]) -> str:
    """Return a line for each open bulletin on the trike that the page is about; '' where there is none."""
    trike = trike_of(context)
    if trike is None:
        return ""
    waiting: dict[int, list[BulletinPart]] = {}
    for part in of_trike(trike.pk):
        waiting.setdefault(part.bulletin_id, []).append(part)
    places = places_on(trike.pk) if waiting else {}
    return format_html_join("", "{}", ((_banner(parts, places),) for parts in waiting.values()))


def _banner(parts: list[BulletinPart], places: dict[int, str]) -> str:
    row = parts[0].bulletin
    dangerous = row.is_hazard or row.severity == "stop"
    named = format_html_join(
        ", ", '{} <span class="serial">{}</span>', ((_place(part, places), part.component) for part in parts)
    )
    until = format_html(" <b>{}</b>", row.stop_riding) if row.stop_riding else ""
    return format_html(
        '<div class="note {}" role="note"><p>{} <a href="{}">Bulletin {}</a>: {}.{} {}.</p></div>',
        "stop" if dangerous else "ask", severity(row), reverse("bulletin", args=[row.pk]), row, row.title.rstrip("."),
        until, named,
    )  # fmt: skip


def _place(part: BulletinPart, places: dict[int, str]) -> str:
    place = places.get(part.component_id, "")
    unsure = " (cannot be excluded: inspect)" if part.certainty == BulletinPart.Certainty.CANNOT_EXCLUDE else ""
    return f"{place[:1].upper()}{place[1:]}{unsure}"
