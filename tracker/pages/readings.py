"""Odometer readings: recording one, deciding the suspect ones, display swaps, meters of components."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from tracker.actions import usage
from tracker.models import Component, MeterReading, OdometerReading, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, press, status_for
from tracker.pages.paging import asked, paged
from tracker.pages.reading_forms import TypedReading
from tracker.pages.roles import page
from tracker.queries import lists
from tracker.queries.life import distances_now
from tracker.queries.usage import unit_of

VERDICTS = (
    ("suspect", "Suspect"), ("accepted", "Accepted"), ("rejected", "Rejected"), ("estimated", "From rides"), ("", "All"),
)  # fmt: skip


class ReadingForm(TypedReading):
    """What the display showed, and when."""

    value = fields.number("The display shows", help_text="As it stands there: nothing converted, nothing rounded.")
    read_at = fields.moment("Read on")
    note = fields.text("Note", 200)


class DisplayChangeForm(fields.Form):
    """An old display's last value and where the new one begins."""

    changed_at = fields.moment("Swapped or reset on")
    old_final_km = fields.number(
        "Last value of the old display", unit="km", required=False,
        help_text="Leave empty if nobody knows: it is then estimated by the riding rate, and marked as an estimate.",
    )  # fmt: skip
    new_start_km = fields.number("The new display begins at", unit="km", initial=0)
    reason = fields.text("Reason", 200)


class MeterForm(fields.Form):
    """Motor hours or charge cycles, as the display or the charger shows them."""

    meter = fields.choice("Meter", MeterReading.Meter.choices)
    value = fields.number("It shows")
    read_at = fields.moment("Read on")


@page()
def readings(request: HttpRequest) -> HttpResponse:
    """Readings by verdict; suspect ones with their choices."""
    verdict = asked(request, "verdict", set(OdometerReading.Verdict.values))
    text = asked(request, "q")
    counts = lists.reading_counts()
    counts[""] = sum(counts.values())
    context = {
        "tabs": [(code, words, counts.get(code, 0)) for code, words in VERDICTS],
        "verdict": verdict,
        "text": text,
        "page": paged(request, lists.readings(verdict=verdict, text=text)),
    }
    return render(request, "desk/readings.html", context)


@page()
@require_POST
def decide(request: HttpRequest, reading_id: int) -> HttpResponse:
    """Carry out the choice made for a suspect reading."""
    get_object_or_404(OdometerReading, pk=reading_id)
    choice = request.POST.get("choice", "")[:40]
    done = press(
        request, usage.decide_reading, reading_id=reading_id, choice=choice, by=request.user, now=timezone.now()
    )
    if done is not None:
        messages.success(request, f"Decided: the reading of trike {done.trike} is {done.get_verdict_display()}.")
    return redirect(_back(request, "/readings/?verdict=suspect"))


def _back(request: HttpRequest, otherwise: str) -> str:
    """The page the form was on, if it is one of ours."""
    target = request.POST.get("back", "")
    safe = target.startswith("/") and url_has_allowed_host_and_scheme(target, allowed_hosts=None)
    return target if safe else otherwise


@page()
def record(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Record what the display of a trike shows. An unlikely value comes back with one question; a doubtful one is kept."""
    trike = get_object_or_404(Trike, pk=trike_id)
    form = ReadingForm(fields.sent(request), initial={"read_at": fields.this_minute(), "unit": unit_of(trike.pk)})
    form.expect(distances_now([trike.pk], timezone.now())[trike.pk], unit_of(trike.pk))
    reading = None
    if form.is_bound and form.is_valid():
        reading = carry_out(
            form, usage.record_reading, trike_id=trike.pk, source="desk", by=request.user, now=timezone.now(),
            **form.cleaned_data,
        )  # fmt: skip
        if reading is not None and reading.verdict == OdometerReading.Verdict.ACCEPTED:
            messages.success(request, f"Reading kept: {reading.value.normalize():f} {reading.unit}.")
            return redirect("trike", trike.pk)
        if reading is not None:
            return redirect("reading-doubt", reading.pk)
    return render(request, "desk/reading_form.html", {"trike": trike, "form": form}, status=status_for(form))


@page()
def doubt(request: HttpRequest, reading_id: int) -> HttpResponse:
    """One suspect reading: why, and the choices."""
    reading = get_object_or_404(OdometerReading.objects.select_related("trike", "photo"), pk=reading_id)
    return render(request, "desk/reading_doubt.html", {"reading": reading, "trike": reading.trike})


@page()
def swap_display(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Record a swapped or reset display."""
    trike = get_object_or_404(Trike, pk=trike_id)
    form = DisplayChangeForm(fields.sent(request), initial={"changed_at": fields.this_minute()})
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, usage.record_display_change, trike_id=trike.pk, by=request.user, now=timezone.now(), source="desk",
            **form.cleaned_data,
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Display change kept. Distances run on across it.")
            return redirect("trike", trike.pk)
    return form_page(
        request,
        form,
        title="Swap or reset the display",
        send="Keep the display change",
        back=f"/trikes/{trike.pk}/",
        of=f"Trike {trike}",
        trike=trike,
    )


@page()
def record_meter(request: HttpRequest, component_id: int) -> HttpResponse:
    """Record motor hours or charge cycles of a component."""
    component = get_object_or_404(Component.objects.select_related("part_type"), pk=component_id)
    form = MeterForm(fields.sent(request), initial={"read_at": fields.this_minute()})
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, usage.record_meter, component_id=component.pk, source="desk", by=request.user, now=timezone.now(),
            **form.cleaned_data,
        )  # fmt: skip
        if done is not None:
            messages.success(request, f"Kept: {done.value:g} {done.get_meter_display()}.")
            return redirect("component", component.pk)
    return form_page(
        request,
        form,
        title="Record a meter",
        send="Keep the reading",
        back=f"/components/{component.pk}/",
        of=f"Component {component}",
    )
