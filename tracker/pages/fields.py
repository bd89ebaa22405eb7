"""Form fields as the desk needs them: big targets, the right keyboard, scanner-friendly, words instead of codes."""

from typing import Any

from django import forms
from django.http import HttpRequest, QueryDict
from django.utils import timezone

from tracker.pages.plain_inputs import PlainInputs

NUMBER_HELP = "Write digits with a point for decimals and no commas: 3107 or 12.5."


class Form(forms.Form):
    """A form whose labels carry no colon; `auto_id` keeps ids apart where a page shows several."""

    default_renderer = PlainInputs()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)


def sent(request: HttpRequest) -> QueryDict | None:
    """Return what was sent, an empty form too; None when the page is only looked at."""
    return request.POST if request.method == "POST" else None


class Number(forms.FloatField):
    """A number that is shown without needless zeros: 6000 and not 6000.0."""

    def prepare_value(self, value: Any) -> Any:
        """Return a kept number as a person writes it."""
        return f"{value:.6f}".rstrip("0").rstrip(".") if isinstance(value, float) else value


def number(
    label: str, *, unit: str = "", required: bool = True, help_text: str = "", **kwargs: Any
) -> forms.FloatField:
    """A number, typed on a number pad, with its unit beside it."""
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "data-unit": unit})
    return Number(
        label=label,
        required=required,
        help_text=help_text,
        widget=widget,
        error_messages={"invalid": NUMBER_HELP},
        **kwargs,
    )


def whole(
    label: str, *, unit: str = "", required: bool = True, help_text: str = "", **kwargs: Any
) -> forms.IntegerField:
    """A whole number."""
    widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "data-unit": unit})
    return forms.IntegerField(
        label=label, required=required, help_text=help_text, widget=widget,
        error_messages={"invalid": "Write a whole number."}, **kwargs,
    )  # fmt: skip


def text(label: str, length: int, *, required: bool = False, help_text: str = "", **attrs: Any) -> forms.CharField:
    """A line of text. Length is the record's; what else it refuses is said by the action."""
    widget = forms.TextInput(attrs=attrs)
    return forms.CharField(
        label=label, max_length=length, required=required, help_text=help_text, widget=widget, strip=True
    )


def words(label: str, length: int, *, required: bool = False, help_text: str = "", rows: int = 3) -> forms.CharField:
    """Several lines of text."""
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(
        label=label, max_length=length, required=required, help_text=help_text, widget=widget, strip=True
    )


def scan(label: str, *, required: bool = True, help_text: str = "", scan_on: str = "", **attrs: Any) -> forms.CharField:
    """A serial to scan or type. `scan_on` is the id of the field a scanner's Enter steps on to."""
    attrs |= {"class": "scan", "autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
    if scan_on:
        attrs["data-scan-on"] = scan_on
    return forms.CharField(
        label=label, max_length=60, required=required, help_text=help_text, widget=forms.TextInput(attrs=attrs)
    )


def choice(label: str, choices: Any, *, required: bool = True, help_text: str = "", **kwargs: Any) -> forms.ChoiceField:
    """One of a few, from a list."""
    return forms.ChoiceField(label=label, choices=choices, required=required, help_text=help_text, **kwargs)


def tick(label: str, help_text: str = "", *, required: bool = False) -> forms.BooleanField:
    """Yes or no; required: only yes."""
    told = {"required": "Tick this once it is so."}
    return forms.BooleanField(label=label, required=required, help_text=help_text, error_messages=told)


def day(label: str, *, required: bool = True, help_text: str = "") -> forms.DateField:
    """A date."""
    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    return forms.DateField(label=label, required=required, help_text=help_text, widget=widget)


def moment(label: str, *, required: bool = True, help_text: str = "") -> forms.DateTimeField:
    """A date and time on the workshop's clock."""
    widget = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
    return forms.DateTimeField(label=label, required=required, help_text=help_text, widget=widget)


def this_minute() -> Any:
    """The present minute, for forms that begin with it."""
    return timezone.localtime(timezone.now().replace(second=0, microsecond=0))


def version() -> forms.IntegerField:
    """The version a record was read at, carried along unseen: two people cannot overwrite each other."""
    return forms.IntegerField(widget=forms.HiddenInput, min_value=0)
