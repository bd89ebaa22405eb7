"""Forms of the handover: frame, parts, consent, rider set-up with final check, second signature."""

from typing import Any

from django import forms

from services.rider_setup import system_mass_kg
from services.units import to_kpa
from tracker.actions.handovers import SetTo
from tracker.pages import fields
from tracker.queries.build_lists import Place

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
GRADES = [("", "none"), ("soft", "soft"), ("medium", "medium"), ("firm", "firm")]


class FrameForm(fields.Form):
    """The frame is the trike's identity."""

    also = {"frame": "frame_serial", "component": "frame_serial"}
    frame_serial = fields.scan("Frame serial", scan_on="id_plate", autofocus=True)
    plate = fields.scan("Plate label", required=False, help_text="The label riveted to the frame, if it has one.")
    model = fields.text(
        "Model", 80, list="models", autocomplete="off", help_text="Its build list opens with the parts."
    )


class FitForm(fields.Form):
    """One part into one position."""

    also = {"component": "serial", "component_id": "serial"}
    position = forms.ChoiceField(label="Position")
    serial = fields.scan("Serial", autofocus=True)
    all_the_same = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, free: tuple[Place, ...], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["position"].choices = [(place.code, _in_words(place)) for place in free]


def _in_words(place: Place) -> str:
    usual = f": {place.usual.name}" if place.usual else ""
    return f"{place.title}{usual}" if place.required or not place.on_list else f"{place.title}{usual} (optional)"


class StockForm(fields.Form):
    """An unknown serial becomes a piece of the record and goes in at once."""

    also = {"part_type": "part_type_id", "component": "serial"}
    position = forms.CharField(widget=forms.HiddenInput)
    serial = fields.scan("Serial")
    part_type_id = forms.TypedChoiceField(label="Part type", coerce=int)
    batch = fields.text("Batch", 40)
    made_on = fields.day("Made on", required=False)

    def __init__(self, types: Any, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", "stock_%s")
        super().__init__(*args, **kwargs)
        self.fields["part_type_id"].choices = [("", "choose"), *((row.pk, str(row)) for row in types)]


class ConsentForm(fields.Form):
    """An owner's word that reminders are welcome: when is now, how is said here."""

    agreed_source = fields.text("Agreed how", 80, required=True, help_text="Such as: at handover, by telephone.")
    version = fields.version()


class SetUpForm(fields.Form):
    """How the trike is set up for its rider; nothing of it is required."""

    also = {"shock_pressure_kpa": "shock_pressure", "system_mass_kg": "rider_mass_kg"}
    rider_mass_kg = fields.number("Rider with gear", unit="kg", required=False)
    luggage_kg = fields.number("Luggage", unit="kg", required=False)
    trike_mass_kg = fields.number("Trike", unit="kg", required=False, help_text="Weighed, or from the model’s papers.")
    shock_pressure = fields.number("Shock pressure", required=False)
    pressure_unit = fields.choice("Unit", [("bar", "bar"), ("psi", "psi"), ("kPa", "kPa")])
    sag_mm = fields.number(
        "Sag, rider seated", unit="mm", required=False, help_text="At the ring on the shock’s shaft."
    )
    elastomer_grade = fields.choice("Elastomer grade", GRADES, required=False)
    toe_in_mm = fields.number("Toe-in", unit="mm", required=False)

    def set_to(self) -> SetTo:
        """Return what was typed as the action takes it, pressure in kPa; what is no number counts as not given."""
        read = self.cleaned_data.get
        rider, trike, pressure = read("rider_mass_kg"), read("trike_mass_kg"), read("shock_pressure")
        whole = None if rider is None or trike is None else round(system_mass_kg(rider, read("luggage_kg"), trike), 3)
        kpa = None if pressure is None else float(to_kpa(pressure, read("pressure_unit") or "bar"))
        return SetTo(
            rider_mass_kg=rider, system_mass_kg=whole, shock_pressure_kpa=kpa, sag_mm=read("sag_mm"),
            elastomer_grade=read("elastomer_grade") or "", toe_in_mm=read("toe_in_mm"),
        )  # fmt: skip


class FinalForm(SetUpForm):
    """Rider set-up and final check, signed by the builder."""

    also = SetUpForm.also | {"owner": "owner_id"}
    owner_id = forms.IntegerField(widget=forms.HiddenInput)
    handed_over_on = fields.day("Handed over on")
    reading_km = fields.number("The display shows", unit="km")
    without_missing = fields.tick("The trike is handed over without them")
    with_bulletins = fields.tick("The trike is handed over all the same")
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
        """Return everything as the action takes it."""
        names = ("owner_id", "handed_over_on", "reading_km", "without_missing", "with_bulletins", "note")
        told = {name: self.cleaned_data[name] for name in names}
        return told | {"set_to": self.set_to(), "checks": self.checks()}


class SecondForm(fields.Form):
    """Another person's name and password."""

    username = fields.text(
        "Name of the second person", 150, required=True, autocomplete="username", autocapitalize="none"
    )
    password = forms.CharField(
        label="Their password", widget=forms.PasswordInput(attrs={"autocomplete": "off"}), strip=False
    )
