"""Build lists: what each model is built from, so that a builder scans down the list."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.parts import PART_KINDS
from services.positions import POSITIONS
from tracker.actions.build_lists import Line, add_build_list, build_list_from_trikes, change_build_list
from tracker.models import BuildList, PartType
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, status_for
from tracker.pages.paging import asked, paged
from tracker.pages.roles import RULERS, page
from tracker.queries import build_lists as lists

WANTED = [("", "not on the list"), ("required", "required"), ("optional", "optional")]


class NewListForm(fields.Form):
    """A model's list: empty, or with what a delivered trike carries."""

    also = {"trike_ids": "trike"}
    model = fields.text(
        "Model", 80, list="models", autocomplete="off", help_text="As it stands on the trikes of this model."
    )
    trike = fields.scan(
        "Take it from a delivered trike",
        required=False,
        help_text="Frame serial or plate. Empty: begin with an empty list.",
    )


class LinesForm(fields.Form):
    """Every position: on the list or not, and the part type that usually goes there."""

    version = fields.version()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        types: dict[str, list[tuple[int, str]]] = {kind: [] for kind in PART_KINDS}
        for row in PartType.objects.order_by("kind", "name", "pk"):
            types[row.kind].append((row.pk, str(row)))
        for code, place in POSITIONS.items():
            self.fields[f"{code}_wanted"] = fields.choice(place.title, WANTED, required=False)
            offered = [("", "any that fits"), *(pair for kind in place.part_kinds for pair in types[kind])]
            self.fields[f"{code}_type"] = forms.TypedChoiceField(
                label=f"Part type, {place.title}", choices=offered, coerce=int, empty_value=None, required=False
            )

    def rows(self) -> list[tuple[str, Any, Any]]:
        """Return position, wanted and part type of every position."""
        return [(place.title, self[f"{code}_wanted"], self[f"{code}_type"]) for code, place in POSITIONS.items()]

    def lines(self) -> list[Line]:
        """Return the lines as the action takes them."""
        values = self.cleaned_data
        return [
            Line(code, values[f"{code}_type"], values[f"{code}_wanted"] == "required")
            for code in POSITIONS
            if values[f"{code}_wanted"]
        ]


def _initial(row: BuildList) -> dict[str, Any]:
    found: dict[str, Any] = {"version": row.version}
    for line in row.lines.all():
        found[f"{line.position}_wanted"] = "required" if line.required else "optional"
        found[f"{line.position}_type"] = line.part_type_id or ""
    return found


@page(do=RULERS)
def build_lists(request: HttpRequest) -> HttpResponse:
    """The models with a list, and those without one."""
    context = {"page": paged(request, lists.build_lists()), "without": lists.models_without_a_list()}
    return render(request, "desk/build_lists.html", context)


@page(do=RULERS)
def build_list(request: HttpRequest, build_list_id: int) -> HttpResponse:
    """One model's list."""
    row = get_object_or_404(lists.build_lists(), pk=build_list_id)
    return render(request, "desk/build_list.html", {"row": row, "lines": row.lines.all()})


@page(see=RULERS, do=RULERS)
def add(request: HttpRequest) -> HttpResponse:
    """Begin a list: empty, or from a delivered trike."""
    form = NewListForm(
        fields.sent(request), initial={"model": asked(request, "model"), "trike": asked(request, "trike")}
    )
    if form.is_bound and form.is_valid():
        done = _begin(request, form)
        if done is not None:
            messages.success(request, f"The list of {done.model} is there. Look through it.")
            return redirect("change-build-list", done.pk)
    context = {"form": form, "models": lists.models_without_a_list()}
    return render(request, "desk/build_list_new.html", context, status=status_for(form))


def _begin(request: HttpRequest, form: NewListForm) -> BuildList | None:
    values, given = form.cleaned_data, {"by": request.user, "now": timezone.now()}
    if not values["trike"]:
        return carry_out(form, add_build_list, model=values["model"], **given)
    trike = lists.delivered_trike(values["trike"])
    if trike is None:
        form.add_error("trike", "No delivered trike has this frame serial or plate.")
        return None
    return carry_out(form, build_list_from_trikes, trike_ids=[trike.pk], model=values["model"], **given)


@page(see=RULERS, do=RULERS)
def change(request: HttpRequest, build_list_id: int) -> HttpResponse:
    """Change the lines of a list."""
    row = get_object_or_404(BuildList.objects.prefetch_related("lines"), pk=build_list_id)
    form = LinesForm(fields.sent(request), initial=_initial(row))
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, change_build_list, build_list_id=row.pk, version=form.cleaned_data["version"], lines=form.lines(),
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved.")
            return redirect("build-list", row.pk)
        if is_stale(form):
            row.refresh_from_db()
            form.data = form.data.copy()
            form.data["version"] = str(row.version)
    return render(request, "desk/build_list_change.html", {"row": row, "form": form}, status=status_for(form))
