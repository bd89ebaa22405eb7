"""The catalogue: part types with their rated values."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.parts import PART_KINDS, Rated, read_table, say_table
from tracker.actions.part_types import add_part_type, change_part_type
from tracker.models import PartType
from tracker.models.fleet import part_kinds
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, is_stale, show_conflict
from tracker.pages.kind_choice import choose_kind, chosen_kind
from tracker.pages.paging import asked, paged
from tracker.pages.roles import RULERS, page
from tracker.queries import lists


class PartTypeForm(fields.Form):
    """A catalogue entry; one field per rated value of its kind."""

    part_number = fields.scan("Part number")
    name = fields.text("Name", 120, required=True)
    maker = fields.text("Maker", 80)
    version = fields.version()

    def __init__(self, kind: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rated_names = []
        for rated in PART_KINDS[kind].rated:
            self.fields[rated.name] = rated_field(rated)
            self.rated_names.append(rated.name)

    def rated(self) -> dict[str, Any]:
        """Return the rated values that were filled in."""
        return {name: self.cleaned_data[name] for name in self.rated_names if self.cleaned_data[name] not in (None, "")}


class TableField(forms.CharField):
    """Rows of system mass and a value, a row a line."""

    def prepare_value(self, value: Any) -> Any:
        """Return a kept table as people type it."""
        return say_table(value, "\n") if isinstance(value, list) else value

    def to_python(self, value: Any) -> Any:
        """Return the rows; what is no table stays text, and the action says so."""
        text = super().to_python(value)
        return read_table(text) if text else ""


def rated_field(rated: Rated) -> forms.Field:
    """Return the form field of one rated value; its limits are judged by the action."""
    if rated.type == "table":
        hint = (
            f"A row a line: system mass in kg, colon, {rated.unit}. Such as 75: 960. Only from the maker's own table."
        )
        widget = forms.Textarea(attrs={"rows": 5, "spellcheck": "false"})
        return TableField(label=rated.title, required=rated.required, help_text=hint, max_length=500, widget=widget)
    if rated.type == "choice":
        choices = [("", "not known"), *((code, code.replace("_", " ")) for code in rated.choices)]
        return fields.choice(rated.title, choices, required=rated.required)
    if rated.type == "text":
        return fields.text(rated.title, 120, required=rated.required)
    limits = f"{rated.low:g} to {rated.high:g} {rated.unit}" if rated.low is not None and rated.high is not None else ""
    return fields.number(rated.title, unit=rated.unit, required=rated.required, help_text=limits)


@page()
def part_types(request: HttpRequest) -> HttpResponse:
    """The catalogue by kind."""
    kind = asked(request, "kind", set(PART_KINDS))
    context = {"kinds": part_kinds(), "chosen": kind, "page": paged(request, lists.part_types(kind))}
    return render(request, "desk/part_types.html", context)


@page()
def part_type(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """One catalogue entry."""
    row = get_object_or_404(lists.part_types(), pk=part_type_id)
    titles = {rated.name: rated for rated in PART_KINDS[row.kind].rated}
    rated = [_rated_shown(titles.get(name) or Rated(name, name), value) for name, value in row.rated.items()]
    context = {"row": row, "rated": rated, "intervals": row.intervals.all()}
    return render(request, "desk/part_type.html", context)


def _rated_shown(rated: Rated, value: Any) -> tuple[str, Any, str]:
    """Title, value and unit of a rated value; a table has its units in its rows."""
    if rated.type == "table":
        return rated.title, "; ".join(f"{mass:g} kg: {number:g} {rated.unit}" for mass, number in value), ""
    return rated.title, value, rated.unit


@page(see=RULERS, do=RULERS)
def add(request: HttpRequest) -> HttpResponse:
    """Add a catalogue entry: choose its kind, then fill in what that kind is rated by."""
    kind = chosen_kind(request)
    if not kind:
        return choose_kind(request, "Add a part type", back="/part-types/", of="Catalogue")
    form = PartTypeForm(kind, fields.sent(request), initial={"version": 0})
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        done = carry_out(
            form, add_part_type, kind=kind, part_number=values["part_number"], name=values["name"],
            maker=values["maker"], rated=form.rated(), by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, f"{done} is in the catalogue.")
            return redirect("part-type", done.pk)
    title = f"Add a part type: {PART_KINDS[kind].title}"
    return form_page(request, form, title=title, send="Add to the catalogue", back="/part-types/", of="Catalogue")


@page(see=RULERS, do=RULERS)
def change(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """Change maker, name or rated values."""
    row = get_object_or_404(PartType, pk=part_type_id)
    initial = {"name": row.name, "maker": row.maker, "version": row.version, **row.rated}
    form = PartTypeForm(row.kind, fields.sent(request), initial=initial)
    del form.fields["part_number"]
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        done = carry_out(
            form, change_part_type, part_type_id=row.pk, version=values["version"],
            changes={"name": values["name"], "maker": values["maker"], "rated": form.rated()},
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved.")
            return redirect("part-type", row.pk)
        if is_stale(form):
            show_conflict(form, row, ["name", "maker"])
    return form_page(
        request,
        form,
        title="Change the part type",
        send="Save",
        back=f"/part-types/{row.pk}/",
        of=f"Part type {row.part_number}",
    )
