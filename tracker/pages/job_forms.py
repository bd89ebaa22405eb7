"""The forms of the job card: one per section, so that each is saved on its own."""

from typing import Any

from django import forms

from services.parts import PART_KINDS
from services.positions import POSITIONS
from services.units import say_pressure, to_kpa
from tracker.models import Component
from tracker.pages import fields
from tracker.pages.reading_forms import TypedReading
from tracker.queries.cards import CardPage, MeasureLine, addable_tasks

FATES = [(code, words) for code, words in Component.State.choices if code != "fitted"]
# What is noted beside a value: what the form calls it, its unit ("": the value's own), and what is said of it.
CONTEXT_WORDS = {
    "pitches": ("Measured over", "pitches", "Pin to pin, as many pitches as the rule takes: more read finer."),
    "temperature_c": ("Temperature", "°C", "Of the air around the shock."),
    "set_kpa": ("Was set to", "", "In the unit of the value."),
    "new_height_mm": ("Height when new", "mm", "As its maker tells, or of a new one of the same grade."),
}


class OdometerForm(TypedReading):
    """What the display shows as the trike comes in."""

    version = fields.version()


class WordsForm(fields.Form):
    """Complaint, cause, correction, minutes."""

    complaint = fields.words("Complaint: the owner’s own words", 10_000)
    cause = fields.words("Cause: what the check proved", 10_000)
    correction = fields.words("Correction: what was done, and how it was tested", 10_000)
    minutes = fields.whole("Time at the bench", unit="minutes", required=False)
    version = fields.version()

    def changes(self) -> dict[str, Any]:
        """Return the section's values; an empty time is none."""
        cleaned = self.cleaned_data
        return {
            "complaint": cleaned["complaint"], "cause": cleaned["cause"], "correction": cleaned["correction"],
            "minutes": cleaned["minutes"] or 0,
        }  # fmt: skip


class TaskForm(fields.Form):
    """What came of one task."""

    component_id = forms.IntegerField(widget=forms.HiddenInput)
    task = forms.CharField(max_length=40, widget=forms.HiddenInput)
    outcome = forms.CharField(max_length=10, required=False)
    note = fields.text("Note", 400)

    def only(self, *names: str) -> dict[str, Any]:
        """Return some of its values."""
        return {name: self.cleaned_data[name] for name in names}


class AddTaskForm(fields.Form):
    """One more task, of any component on the trike."""

    also = {"task": "pick"}
    pick = forms.ChoiceField(label="Add a task")

    def __init__(self, page: CardPage, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        groups = [
            (
                f"{POSITIONS[fitment.position].title}: {fitment.component}",
                [(f"{fitment.component_id}:{task.code}", task.title) for task in free],
            )
            for fitment, free in addable_tasks(page)
        ]
        self.fields["pick"].choices = [("", "choose a component and a task"), *groups]

    def chosen(self) -> dict[str, Any]:
        """Return component and task."""
        component_id, _, task = self.cleaned_data["pick"].partition(":")
        return {"component_id": int(component_id), "task": task}


class MeasureForm(fields.Form):
    """One measured value with what it needs to mean anything."""

    component_id = forms.IntegerField(widget=forms.HiddenInput)
    quantity = forms.CharField(max_length=40, widget=forms.HiddenInput)
    value = fields.number("Value")
    instrument = fields.text("Measured with", 80)

    def __init__(self, line: MeasureLine, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        measured = line.quantity
        value = self.fields["value"]
        value.label = measured.title
        value.help_text = f"{measured.low:g} to {measured.high:g} {measured.unit} can be true."
        if measured.unit == "kPa":
            self.fields["unit"] = fields.choice("Unit", [("bar", "bar"), ("psi", "psi"), ("kPa", "kPa")])
        else:
            value.widget.attrs["data-unit"] = measured.unit
        self.beside = measured.beside
        for name in self.beside:
            label, unit, hint = CONTEXT_WORDS[name]
            field = fields.whole if name == "pitches" else fields.number
            if name in line.known:  # told and not filled in: it would be read in whatever unit is chosen
                hint += f" Empty: {say_pressure(line.known[name], 'bar')}, as at the handover."
            self.fields[name] = field(label, unit=unit, help_text=hint, required=name in measured.needs)
        self.order_fields(["component_id", "quantity", "value", "unit", *self.beside, "instrument"])

    def measured(self) -> dict[str, Any]:
        """Return the measurement as the action takes it."""
        values = self.cleaned_data
        return {
            "component_id": values["component_id"], "quantity_code": values["quantity"], "value": values["value"],
            "unit": values.get("unit", ""), "instrument": values["instrument"],
            "context": {name: self._kept(name) for name in self.beside if values[name] is not None},
        }  # fmt: skip

    def _kept(self, name: str) -> float:
        """A pressure beside the value was typed in the value's unit and is kept in kPa."""
        value, unit = self.cleaned_data[name], self.cleaned_data.get("unit", "")
        return float(to_kpa(value, unit)) if name.endswith("_kpa") and unit in {"bar", "psi"} else value

    def shown(self) -> list[Any]:
        """Return the fields to draw, in order."""
        return [self[name] for name in self.fields if name not in {"component_id", "quantity"}]


class SwapForm(fields.Form):
    """Old serial out, new serial in."""

    position = forms.ChoiceField(label="Position")
    old_serial = fields.scan("Old serial", required=False, help_text="Scan it to be sure.", scan_on="swap_new_serial")
    new_serial = fields.scan("New serial", required=False, help_text="Empty: the place stays empty.")
    fate = fields.choice("The old one is now", [("", "choose"), *FATES], required=False)
    reason = fields.text("Reason", 200)

    def __init__(self, page: CardPage, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", "swap_%s")
        super().__init__(*args, **kwargs)
        held = {fitment.position: str(fitment.component) for fitment in page.fitments}
        self.fields["position"].choices = [
            ("", "choose"),
            *(
                (code, f"{place.title}: {held.get(code, 'empty')}")
                for code, place in POSITIONS.items()
                if code != "frame"
            ),
        ]


class FailureForm(fields.Form):
    """A component that failed: how, why, how it was found."""

    component_id = forms.TypedChoiceField(label="Component that failed", coerce=int)
    mode = forms.ChoiceField(label="How it failed")
    cause = forms.ChoiceField(label="Why", required=False)
    found = forms.ChoiceField(label="Found by", required=False)
    warranty = fields.tick("Claimed under warranty")
    note = fields.text("Note", 400)

    def __init__(self, page: CardPage, *args: Any, **kwargs: Any) -> None:
        from services import failures

        kwargs.setdefault("auto_id", "failure_%s")
        super().__init__(*args, **kwargs)
        self.fields["component_id"].choices = [
            ("", "choose"),
            *((f.component_id, f"{POSITIONS[f.position].title}: {f.component}") for f in page.fitments),
        ]
        for name, codes in (("mode", failures.MODES), ("cause", failures.CAUSES), ("found", failures.FOUND)):
            self.fields[name].choices = [("", "choose" if name == "mode" else "not known"), *codes.items()]


class SignForm(fields.Form):
    """The signature: the password once more."""

    password = forms.CharField(
        label="Your password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False
    )
    version = fields.version()


class CancelForm(fields.Form):
    """Which state of the card is cancelled."""

    version = fields.version()


class AmendForm(fields.Form):
    """What is corrected, and why."""

    text = fields.words("What is corrected, and why", 4_000, required=True)


class OpenCardForm(fields.Form):
    """A new card begins with what the owner says."""

    complaint = fields.words("Complaint: the owner’s own words", 10_000)


def rated_words(component: Component) -> list[str]:
    """Return a component's rated values in words, to stand beside what is measured."""
    known = {rated.name: rated for rated in PART_KINDS[component.part_type.kind].rated}
    return [
        f"{known[name].title.lower()} {value} {known[name].unit}".strip()
        for name, value in component.part_type.rated.items()
        if name in known
    ]
