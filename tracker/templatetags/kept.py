"""How the job card's pages draw a field that is kept as it is typed: the field, what was loaded, and who was faster."""

from typing import Any

from django import template
from django.forms.boundfield import BoundField
from django.utils.html import format_html

from tracker.templatetags.desk import field

register = template.Library()


@register.simple_tag
def kept(bound: BoundField, unit: str = "", hint: str = "", bare: bool = False) -> str:
    """Draw a field of a KeptForm with its base, and the clash when somebody else was faster."""
    form, name = bound.form, bound.name
    base = format_html('<input type="hidden" name="base-{}" value="{}">', bound.html_name, form.base_of(name))
    return format_html("{}{}{}", field(bound, unit, hint, bare), clash(form.clashes.get(name), bound.html_name), base)


@register.simple_tag
def clash(told: dict[str, Any] | None, name: str) -> str:
    """Draw what stands there now and whose it is, with the two ways out."""
    if not told:
        return ""
    return format_html(
        '<div class="note ask clash" role="alert"><p><b>{} wrote here meanwhile:</b> <q>{}</q></p>'
        '<p class="quiet">Yours stands in the field and is not saved. Send it again to keep yours, or:</p>'
        '<p class="buttons"><a class="button" href="?theirs={}">Take theirs</a></p></div>',
        told["by"], told["theirs"] or "nothing", name,
    )  # fmt: skip
