"""Step 2 of the handover: the serials, scanned down the build list of the model."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from services.positions import POSITIONS
from tracker.actions.building import OtherPartType, fit_from_list, stock_and_fit
from tracker.actions.fitments import remove_component
from tracker.models import Fitment, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, press, status_for
from tracker.pages.handover_forms import FitForm, StockForm
from tracker.pages.handover_steps import steps_of
from tracker.pages.handovers import scanned
from tracker.pages.paging import asked
from tracker.pages.roles import WRITERS, page
from tracker.queries.build_lists import Progress, progress, types_for


@page(see=WRITERS)
def parts(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Scan the parts one after the other; after each the next position of the list stands ready."""
    trike = get_object_or_404(Trike, pk=trike_id)
    found = progress(trike)
    codes = {place.code for place in found.free}
    ready = asked(request, "position", codes) or found.next_after()
    sends = fields.sent(request)
    if request.POST.get("take_off"):
        return _take_off(request, trike)
    stocks = sends is not None and "part_type_id" in sends
    form = FitForm(found.free, None if stocks else sends, initial={"position": ready})
    stock = _stock_form(found, sends) if stocks else None
    fitted = _stock(request, trike, stock) if stock else _fit(request, trike, form)
    if fitted is not None:
        messages.success(request, f"{fitted.component} is at {POSITIONS[fitted.position].title}.")
        return redirect(f"{reverse('handover-parts', args=[trike.pk])}?position={found.next_after(fitted.position)}")
    if getattr(form, "unknown_serial", ""):
        stock = _stock_form(found, None, form.cleaned_data["position"], form.unknown_serial)
    shown = stock if stock is not None and stock.is_bound else form
    context = {
        "trike": trike, "form": form, "stock": stock, "found": found, "ready": ready, "steps": steps_of(trike, "parts"),
        "question": getattr(form, "refusal", None) if isinstance(getattr(form, "refusal", None), OtherPartType) else None,
        "handed_over": trike.state != Trike.State.IN_BUILD or hasattr(trike, "handover"),
    }  # fmt: skip
    return render(request, "desk/handover_parts.html", context, status=status_for(shown))


def _fit(request: HttpRequest, trike: Trike, form: FitForm) -> Fitment | None:
    if not (form.is_bound and form.is_valid()):
        return None
    component = scanned(form, "serial")
    if component is None:
        return None
    return carry_out(
        form, fit_from_list, trike_id=trike.pk, position=form.cleaned_data["position"], component_id=component.pk,
        all_the_same=form.cleaned_data["all_the_same"], by=request.user, now=timezone.now(),
    )  # fmt: skip


def _stock_form(found: Progress, sends: Any, position: str = "", serial: str = "") -> StockForm:
    position = sends.get("position", "") if sends is not None else position
    place = next((place for place in found.places if place.code == position), None)
    types = types_for(POSITIONS[position].part_kinds if position in POSITIONS else ())
    usual = place.usual.pk if place and place.usual else types[0].pk if len(types) == 1 else ""
    return StockForm(types, sends, initial={"position": position, "serial": serial, "part_type_id": usual})


def _stock(request: HttpRequest, trike: Trike, form: StockForm) -> Fitment | None:
    if not form.is_valid():
        return None
    return carry_out(form, stock_and_fit, trike_id=trike.pk, by=request.user, now=timezone.now(), **form.cleaned_data)


def _take_off(request: HttpRequest, trike: Trike) -> HttpResponse:
    """Take a part off that was scanned by mistake: it goes back to stock."""
    number = request.POST["take_off"]
    row = get_object_or_404(
        Fitment.objects.current(), pk=number if number.isascii() and number.isdigit() else 0, trike=trike
    )
    at = timezone.now()
    press(request, remove_component, fitment_id=row.pk, at=at, reason="scanned by mistake", by=request.user, now=at)
    return redirect(f"{reverse('handover-parts', args=[trike.pk])}?position={row.position}")
