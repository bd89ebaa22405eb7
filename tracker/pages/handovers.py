"""The handover, step by step: the frame, the parts serial by serial, set-up and final check, the second signature."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.errors import Refusal
from services.positions import POSITIONS
from services.units import to_kpa
from tracker.actions.fitments import fit_component
from tracker.actions.handovers import hand_over, sign_handover
from tracker.actions.trikes import register_trike
from tracker.models import Component, Fitment, Handover, Owner, Trike, User
from tracker.pages import fields
from tracker.pages.answers import carry_out, sentence, status_for
from tracker.pages.paging import asked
from tracker.pages.roles import WRITERS, page, roles_of_user
from tracker.queries import lists
from tracker.queries.clock import local_date
from tracker.queries.search import component_by_serial

FINAL_CHECKS = (
    "Brakes hold and release on all wheels",
    "Parking brake holds on a slope",
    "Wheels true, quick releases and axles closed",
    "Steering free from stop to stop, no play",
    "Toe-in measured and written down",
    "Folding hinge closed and secured",
    "Every bolt on the torque list done",
    "Gears shift through, chain runs freely in tubes and idler",
    "Battery locked in its mount, no damage, charges",
    "Motor assists and cuts off, display reads",
    "Shock and elastomers set for the rider's mass",
    "Lights, bell and reflectors work",
    "Test ride done by the builder",
    "Rider shown braking, folding, charging and parking",
)


class FrameForm(fields.Form):
    """The frame is the trike's identity."""

    also = {"frame": "frame_serial", "component": "frame_serial"}
    frame_serial = fields.scan("Frame serial", scan_on="id_plate", autofocus=True)
    plate = fields.scan("Plate label", required=False, help_text="The label riveted to the frame, if it has one.")
    model = fields.text("Model", 80)


class FitForm(fields.Form):
    """One part into one position."""

    also = {"component": "serial", "component_id": "serial"}
    position = forms.ChoiceField(label="Position")
    serial = fields.scan("Serial", autofocus=True)

    def __init__(self, free: list[tuple[str, str]], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["position"].choices = free


class FinalForm(fields.Form):
    """Rider set-up and final check, signed by the builder."""

    also = {"owner": "owner_id", "shock_pressure_kpa": "shock_pressure"}
    owner_id = forms.IntegerField(widget=forms.HiddenInput)
    handed_over_on = fields.day("Handed over on")
    reading_km = fields.number("The display shows", unit="km")
    rider_mass_kg = fields.number("Rider with gear", unit="kg", required=False)
    shock_pressure = fields.number("Shock pressure", required=False)
    pressure_unit = fields.choice("Unit", [("bar", "bar"), ("psi", "psi"), ("kPa", "kPa")])
    elastomer_grade = fields.choice(
        "Elastomer grade", [("", "none"), ("soft", "soft"), ("medium", "medium"), ("firm", "firm")], required=False
    )
    toe_in_mm = fields.number("Toe-in", unit="mm", required=False)
    note = fields.words("Note", 500)
    password = forms.CharField(
        label="Builder’s password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for index, item in enumerate(FINAL_CHECKS):
            self.fields[f"check_{index}"] = forms.ChoiceField(
                label=item, choices=[("yes", "Passed"), ("no", "Failed")], required=True,
                error_messages={"required": "Say whether it passed."}, widget=forms.RadioSelect,
            )  # fmt: skip
            self.fields[f"check_{index}_note"] = fields.text("Note", 200)

    def checks(self) -> list[tuple[str, bool, str]]:
        """Return the final check as the action takes it."""
        values = self.cleaned_data
        return [
            (item, values[f"check_{index}"] == "yes", values[f"check_{index}_note"])
            for index, item in enumerate(FINAL_CHECKS)
        ]

    def check_rows(self) -> list[tuple[Any, Any]]:
        """Return the fields of the final check, in pairs."""
        return [(self[f"check_{index}"], self[f"check_{index}_note"]) for index in range(len(FINAL_CHECKS))]

    def values(self) -> dict[str, Any]:
        """Return the rest as the action takes it; the pressure in kPa."""
        cleaned = self.cleaned_data
        names = ("owner_id", "handed_over_on", "reading_km", "rider_mass_kg", "elastomer_grade", "toe_in_mm", "note")
        pressure = cleaned["shock_pressure"]
        kpa = None if pressure is None else float(to_kpa(pressure, cleaned["pressure_unit"]))
        return {name: cleaned[name] for name in names} | {"shock_pressure_kpa": kpa, "checks": self.checks()}


class SecondForm(fields.Form):
    """Another person's name and password."""

    username = fields.text(
        "Name of the second person", 150, required=True, autocomplete="username", autocapitalize="none"
    )
    password = forms.CharField(
        label="Their password", widget=forms.PasswordInput(attrs={"autocomplete": "off"}), strip=False
    )


@page(see=WRITERS)
def new(request: HttpRequest) -> HttpResponse:
    """Step 1: the frame."""
    form = FrameForm(fields.sent(request))
    if form.is_bound and form.is_valid():
        frame = _scanned(form, "frame_serial")
        if frame is not None:
            trike = carry_out(
                form, register_trike, frame_component_id=frame.pk, plate=form.cleaned_data["plate"],
                model=form.cleaned_data["model"], by=request.user, now=timezone.now(), source="desk",
            )  # fmt: skip
            if trike is not None:
                return redirect("handover-parts", trike.pk)
    started = Trike.objects.filter(state=Trike.State.IN_BUILD).select_related("handover").order_by("-pk")[:20]
    return render(request, "desk/handover_new.html", {"form": form, "started": started}, status=status_for(form))


def _scanned(form: Any, name: str) -> Component | None:
    """The component of a scanned serial, or None with the refusal beside the field."""
    typed = form.cleaned_data[name]
    try:
        found = component_by_serial(typed)
    except Refusal as refusal:
        form.add_error(name, sentence(refusal))
        return None
    if found is None:
        form.add_error(name, "No component has this serial. Scan again, or take it into stock first.")
        form.unknown_serial = typed
    return found


@page(see=WRITERS)
def parts(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Step 2: scan the parts one after the other; after each the next empty position stands ready."""
    trike = get_object_or_404(Trike, pk=trike_id)
    fitted = {
        f.position: f for f in Fitment.objects.current().filter(trike=trike).select_related("component__part_type")
    }
    free = [(code, place.title) for code, place in POSITIONS.items() if code not in fitted]
    ready = asked(request, "position", {code for code, _ in free}) or (free[0][0] if free else "")
    form = FitForm(free, fields.sent(request), initial={"position": ready})
    if form.is_bound and form.is_valid():
        component = _scanned(form, "serial")
        if component is not None:
            position, now = form.cleaned_data["position"], timezone.now()
            done = carry_out(
                form, fit_component, trike_id=trike.pk, position=position, component_id=component.pk, at=now,
                by=request.user, now=now, source="desk",
            )  # fmt: skip
            if done is not None:
                return redirect(f"/handover/{trike.pk}/parts/?position={_next_free(free, position)}")
    places = [(code, place, fitted.get(code)) for code, place in POSITIONS.items()]
    context = {"trike": trike, "form": form, "places": places, "free": free, "fitted": len(fitted), "ready": ready}
    return render(request, "desk/handover_parts.html", context, status=status_for(form))


def _next_free(free: list[tuple[str, str]], position: str) -> str:
    codes = [code for code, _ in free]
    after = codes[codes.index(position) + 1 :] if position in codes else codes
    return after[0] if after else ""


@page(see=WRITERS)
def final(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Step 3: owner, rider set-up, final check; the builder signs."""
    trike = get_object_or_404(Trike, pk=trike_id)
    owner = Owner.objects.filter(pk=request.GET["owner"]).first() if request.GET.get("owner", "").isdigit() else None
    text = asked(request, "find")
    today = local_date(timezone.now())
    initial = {
        "owner_id": owner.pk if owner else None,
        "handed_over_on": today,
        "reading_km": 0,
        "pressure_unit": "bar",
    }
    form = FinalForm(fields.sent(request), initial=initial)
    if form.is_bound and form.is_valid() and _is_me(request, form):
        done = carry_out(
            form, hand_over, trike_id=trike.pk, built_by=request.user, by=request.user, now=timezone.now(),
            source="desk", **form.values(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Signed by the builder. Now a second person looks it over and signs.")
            return redirect("handover", done.pk)
    context = {
        "trike": trike, "form": form, "owner": owner, "find": text, "owners": lists.owners(text)[:12] if text else [],
    }  # fmt: skip
    return render(request, "desk/handover_final.html", context, status=status_for(form))


def _is_me(request: HttpRequest, form: FinalForm) -> bool:
    user = authenticate(request, username=request.user.get_username(), password=form.cleaned_data["password"])
    if user is not None and user.pk == request.user.pk:
        return True
    form.add_error("password", "This is not your password. Nothing was signed.")
    return False


@page()
def handover(request: HttpRequest, handover_id: int) -> HttpResponse:
    """The as-built record: step 4, the second signature, while that is missing."""
    row = get_object_or_404(
        Handover.objects.select_related("trike", "built_by", "second_by").prefetch_related(
            "checks", lists.present_owner("trike__ownerships")
        ),
        pk=handover_id,
    )
    me = "" if request.user.pk == row.built_by_id else request.user.get_username()
    form = SecondForm(fields.sent(request), initial={"username": me})
    if form.is_bound and form.is_valid():
        second = _second_person(request, form)
        if second is not None:
            done = carry_out(form, sign_handover, handover_id=row.pk, by=second, now=timezone.now())
            if done is not None:
                messages.success(request, f"Trike {row.trike} is delivered. Its service schedule begins.")
                return redirect("trike", row.trike_id)
    signed_at = row.second_signed_at or row.built_signed_at
    fitments = Fitment.objects.at(signed_at).filter(trike=row.trike).select_related("component__part_type")
    order = list(POSITIONS)
    context = {
        "row": row, "trike": row.trike, "form": form, "owner": next((o.owner for o in row.trike.now_owned), None),
        "fitments": sorted(fitments, key=lambda fitment: order.index(fitment.position)),
    }  # fmt: skip
    return render(request, "desk/handover.html", context, status=status_for(form))


def _second_person(request: HttpRequest, form: SecondForm) -> User | None:
    """Whoever the name and password belong to, if they may sign; otherwise None with the reason beside the field."""
    user = authenticate(request, username=form.cleaned_data["username"], password=form.cleaned_data["password"])
    if user is None:
        form.add_error("password", "Name and password do not belong together. Nothing was signed.")
        return None
    if not roles_of_user(user) & WRITERS:
        form.add_error("username", "This person’s role does not sign handovers. Ask a mechanic, the desk or the admin.")
        return None
    return user
