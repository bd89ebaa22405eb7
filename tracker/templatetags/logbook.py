"""Who told of an entry of the logbook. Written out here and not in a template: a page draws hundreds of them."""

from datetime import date, datetime

from django import template
from django.utils import timezone
from django.utils.html import format_html

from tracker.models import LogEntry
from tracker.templatetags.desk import day, spoken

register = template.Library()


@register.simple_tag
def told_by(entry: LogEntry) -> str:
    """Return name and login of who wrote `entry`, by which door, and the day it was written where that was a later one."""
    written = day(entry.recorded_at)
    later = f", written {written}" if _day(entry.recorded_at) != _day(entry.occurred_at) else ""
    actor, door = entry.actor, spoken(entry.source)
    if actor is None:
        return format_html("{}{}", door, later)
    if str(actor) == actor.username:
        return format_html("{}, {}{}", actor, door, later)
    login = '{} <span class="nowrap">(login <span class="serial">{}</span>)</span>, {}{}'
    return format_html(login, actor, actor.username, door, later)


def _day(moment: datetime) -> date:
    return timezone.localtime(moment).date()
