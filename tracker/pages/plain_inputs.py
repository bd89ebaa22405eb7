"""Plain inputs drawn without templates: a job card shows hundreds of them, and a template for each takes most of its time."""

import html
from collections.abc import Mapping
from typing import Any

from django.forms.renderers import DjangoTemplates
from django.utils.safestring import SafeString, mark_safe


class PlainInputs(DjangoTemplates):
    """Django's renderer of form widgets, with the common ones written out; the markup is the same."""

    def render(self, template_name: str, context: Mapping[str, Any], request: Any = None) -> str:
        """Return the widget's HTML."""
        draw = DRAWN.get(template_name)
        return draw(context["widget"]) if draw else super().render(template_name, context, request)


def written(value: Any) -> str:
    """Return a value as it may stand in a page: what is safe already as it is, all else escaped."""
    return value.__html__() if hasattr(value, "__html__") else html.escape(str(value))


def attributes(attrs: Mapping[str, Any]) -> str:
    """Return attributes as they stand in a tag, escaped: True is the bare name, False none at all."""
    return "".join(
        f" {name}" if value is True else f' {name}="{written(str(value))}"'
        for name, value in attrs.items()
        if value is not False
    )


def _input(widget: Mapping[str, Any]) -> SafeString:
    value = widget["value"]
    shown = "" if value is None else f' value="{written(str(value))}"'
    name = written(widget["name"])
    return mark_safe(f'<input type="{widget["type"]}" name="{name}"{shown}{attributes(widget["attrs"])}>')


def _textarea(widget: Mapping[str, Any]) -> SafeString:
    name, value = written(widget["name"]), written(widget["value"] or "")
    return mark_safe(f'<textarea name="{name}"{attributes(widget["attrs"])}>\n{value}</textarea>')


def _select(widget: Mapping[str, Any]) -> SafeString:
    inside = []
    for group, options, _ in widget["optgroups"]:
        drawn = "".join(map(_option, options))
        inside.append(f'<optgroup label="{written(group)}">{drawn}</optgroup>' if group else drawn)
    name = written(widget["name"])
    return mark_safe(f'<select name="{name}"{attributes(widget["attrs"])}>{"".join(inside)}</select>')


def _option(option: Mapping[str, Any]) -> str:
    value, label = written(str(option["value"])), written(option["label"])
    return f'<option value="{value}"{attributes(option["attrs"])}>{label}</option>'


_FOLDER = "django/forms/widgets"
DRAWN = {
    **{f"{_FOLDER}/{kind}.html": _input for kind in ("text", "hidden", "date", "datetime", "checkbox", "password")},
    f"{_FOLDER}/textarea.html": _textarea,
    f"{_FOLDER}/select.html": _select,
}
