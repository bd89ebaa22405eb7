"""Components: the list, one piece from birth to scrap, taking one into stock."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from services.parts import PART_KINDS
from tracker.actions.components import add_component, change_component
from tracker.models import Component, PartType
from tracker.models.fleet import part_kinds
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, is_stale, show_conflict
from tracker.pages.log_words import told
from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.pages.wear_chart import wear_shown
from tracker.queries import lists
from tracker.queries.bulletin_pages import marks_of_components
from tracker.queries.fleet import component_page

CHANGEABLE = ["state", "batch", "made_on", "firmware", "note"]


class ComponentForm(fields.Form):
    """A piece taken into stock."""

    also = {"part_type": "part_type_id"}
    part_type_id = fields.forms.TypedChoiceField(label="Part type", coerce=int)
    serial = fields.scan("Serial", required=False, scan_on="id_batch")
    batch = fields.text("Batch", 40, help_text="Either a serial or a batch number, or both.")
    made_on = fields.day("Made on", required=False)
    firmware = fields.text("Firmware", 40)
    life_before_km = fields.number("Life before today", unit="km", required=False, initial=0)
    life_unknown = fields.tick("It was used before, nobody knows how far")
    note = fields.text("Note", 500)

    def __init__(self, kind: str, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        types = PartType.objects.filter(kind=kind) if kind else PartType.objects.all()
        choices = [(row.pk, f"{row.get_kind_display()}: {row}") for row in types]
        self.fields["part_type_id"].choices = [("", "choose"), *choices]

    def values(self) -> dict:
        """Return the piece as the action takes it; unknown life is no number."""
        cleaned = dict(self.cleaned_data)
        unknown = cleaned.pop("life_unknown")
        cleaned["life_before_km"] = None if unknown else cleaned["life_before_km"] or 0.0
        return cleaned


class ChangeComponentForm(fields.Form):
    """What may change about a piece."""

    state = fields.choice("State", Component.State.choices, help_text="Fitted follows from the trike it is on.")
    batch = fields.text("Batch", 40)
    made_on = fields.day("Made on", required=False)
    firmware = fields.text("Firmware", 40)
    note = fields.text("Note", 500)
    version = fields.version()


@page()
def components(request: HttpRequest) -> HttpResponse:
    """Components by kind, state and batch."""
    chosen = {
        "kind": asked(request, "kind", set(PART_KINDS)),
        "state": asked(request, "state", set(Component.State.values)),
        "batch": asked(request, "batch"),
        "text": asked(request, "q"),
    }
    found = paged(request, lists.components(**chosen))
    marks = marks_of_components([row.pk for row in found])
    context = {
        "chosen": chosen, "kinds": part_kinds(), "states": Component.State.choices, "page": found,
        "rows": [(row, marks.get(row.pk, "")) for row in found],
    }  # fmt: skip
    return render(request, "desk/components.html", context)


@page()
def component(request: HttpRequest, component_id: int) -> HttpResponse:
    """One piece: where it is, where it was, its life, what was measured and what failed."""
    found = component_page(component_id, timezone.now())
    if found is None:
        raise Http404
    context = {"found": found, "row": found.component, "log": [told(entry) for entry in found.log], "show_trike": True,
               "wear": [wear_shown(row) for row in found.wear]}  # fmt: skip
    return render(request, "desk/component.html", context)


@page()
def add(request: HttpRequest) -> HttpResponse:
    """Take a piece into stock; `next` leads back to the handover that needed it."""
    kind = asked(request, "kind", set(PART_KINDS))
    initial = {"serial": asked(request, "serial"), "part_type_id": asked(request, "part_type")}
    form = ComponentForm(kind, fields.sent(request), initial=initial)
    if form.is_bound and form.is_valid():
        done = carry_out(form, add_component, by=request.user, now=timezone.now(), source="desk", **form.values())
        if done is not None:
            messages.success(request, f"{done} is in stock.")
            target = request.GET.get("next", "")
            inside = target.startswith("/handover/") and url_has_allowed_host_and_scheme(target, allowed_hosts=None)
            return redirect(target if inside else f"/components/{done.pk}/")
    return form_page(
        request, form, title="Take a component into stock", send="Take it into stock", back="/components/", of="Parts"
    )


@page()
def change(request: HttpRequest, component_id: int) -> HttpResponse:
    """Change batch, date, firmware, note, or the state of a piece that is not fitted."""
    row = get_object_or_404(Component.objects.select_related("part_type"), pk=component_id)
    form = ChangeComponentForm(
        fields.sent(request), initial={name: getattr(row, name) for name in [*CHANGEABLE, "version"]}
    )
    if form.is_bound and form.is_valid():
        values = {name: form.cleaned_data[name] for name in CHANGEABLE if form.cleaned_data[name] != getattr(row, name)}
        done = carry_out(
            form, change_component, component_id=row.pk, version=form.cleaned_data["version"], changes=values,
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved.")
            return redirect("component", row.pk)
        if is_stale(form):
            show_conflict(form, row, CHANGEABLE)
    return form_page(
        request, form, title="Change the component", send="Save", back=f"/components/{row.pk}/", of=f"Component {row}"
    )
