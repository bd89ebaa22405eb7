"""The forms of the job card, step by step."""

from collections.abc import Mapping
from typing import Any

from django import forms

from services import failures
from services.parts import PART_KINDS
from services.positions import POSITIONS
from services.units import say_pressure, to_kpa
from tracker.models import Component
from tracker.pages import fields
from tracker.pages.kept_fields import KeptForm
from tracker.pages.reading_forms import TypedReading
from tracker.queries.card_texts import measured_inputs, measured_text, reading_text
from tracker.queries.cards import CardPage, MeasureLine, TaskLine

FATES = [(code, words) for code, words in Component.State.choices if code != "fitted"]
# What is noted beside a value: what the form calls it, its unit ("": the value's own), and what is said of it.
CONTEXT_WORDS = {
    "pitches": ("Measured over", "pitches", "Pin to pin, as many pitches as the rule takes: more read finer."),
    "temperature_c": ("Temperature", "°C", "Of the air around the shock."),
    "set_kpa": ("Was set to", "", "In the unit of the value."),
    "new_height_mm": ("Height when new", "mm", "As its maker tells, or of a new one of the same grade."),
}


class OdometerForm(TypedReading):
    """What the display shows as the trike comes in. Empty: nobody has read it yet."""

    value = fields.number("The display shows", required=False)

    def __init__(self, reading: Any, unit: str, *args: Any, **kwargs: Any) -> None:
        self.stored = reading_text(reading)
        number, _, stored_unit = self.stored.partition(" ")
        kwargs.setdefault("initial", {"value": number or None, "unit": stored_unit or unit})
        super().__init__(*args, **kwargs)
        self.fields["value"].widget.attrs |= {"data-odometer": "value"}
        self.fields["value"].widget.attrs |= {"autofocus": not self.stored}
        self.fields["unit"].widget.attrs["data-odometer"] = "unit"
        self.theirs = ""

    @property
    def base(self) -> str:
        """What the page had loaded; after a clash what stands there now."""
        return self.theirs or (self.data.get("base-odometer", "") if self.is_bound else self.stored)


class ComplaintForm(KeptForm):
    """What the owner says, in their own words."""

    section = "words"
    complaint = fields.words("Complaint: the owner’s own words", 10_000)


class WordsForm(KeptForm):
    """Cause, correction, minutes."""

    section = "words"
    cause = fields.words("Cause: what the check proved", 10_000)
    correction = fields.words("Correction: what was done, how tested", 10_000)
    minutes = fields.whole("Time at the bench", unit="minutes", required=False)


class TaskForm(KeptForm):
    """The note on one task."""

    note = fields.text("Note", 400)

    def __init__(self, line: TaskLine, *args: Any, **kwargs: Any) -> None:
        self.section = f"task:{line.row.component_id}:{line.row.task}"
        kwargs |= {"prefix": task_key(line), "auto_id": "%s"}
        super().__init__({"note": line.row.note}, *args, **kwargs)


class SwapRowForm(KeptForm):
    """Where the old part of a planned swap goes, and why."""

    fate = fields.choice("The old one is now", FATES)
    reason = fields.text("Reason", 200)

    def __init__(self, swap: Any, *args: Any, **kwargs: Any) -> None:
        self.section = f"swap:{swap.position}"
        kwargs |= {"prefix": f"swap-{swap.position}", "auto_id": "%s"}
        super().__init__({"fate": swap.fate, "reason": swap.reason}, *args, **kwargs)


def task_key(line: TaskLine) -> str:
    """The name of a task's card on the page."""
    return f"task-{line.row.component_id}-{line.row.task.replace(':', '-')}"


def measure_key(component_id: int, quantity: str) -> str:
    """The name of a measurement on the page."""
    return f"measure-{component_id}-{quantity}"


class MeasureForm(fields.Form):
    """One measured value with what it needs to mean anything; empty, it is not measured yet."""

    value = fields.number("Value", required=False)
    instrument = fields.text("Measured with", 80)

    def __init__(self, line: MeasureLine, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line, measured = line, line.quantity
        value = self.fields["value"]
        value.label = measured.title
        if measured.unit == "kPa":
            self.fields["unit"] = fields.choice(
                "Unit", [("bar", "bar"), ("psi", "psi"), ("kPa", "kPa")], required=False
            )
        else:
            value.widget.attrs["data-unit"] = measured.unit
        self.beside = measured.beside
        for name in self.beside:
            label, unit, hint = CONTEXT_WORDS[name]
            field = fields.whole if name == "pitches" else fields.number
            if name in line.known:  # told and not filled in: it would be read in whatever unit is chosen
                hint += f" Empty: {say_pressure(line.known[name], 'bar')}, as at the handover."
            self.fields[name] = field(label, unit=unit, help_text=hint, required=name in measured.needs)
        self.order_fields(["value", "unit", *self.beside, "instrument"])

    @classmethod
    def of(cls, line: MeasureLine, data: Any = None) -> "MeasureForm":
        """Return the form of one measurement on the bench's page."""
        key = measure_key(line.component.pk, line.quantity.code)
        initial = {"instrument": line.quantity.instrument[:80], "unit": "bar"}
        if line.taken:
            initial |= measured_inputs(line.taken, line.known)
        return cls(line, data, prefix=key, auto_id="%s", initial=initial)

    @property
    def is_empty(self) -> bool:
        """Whether no value was typed: then nothing else is asked."""
        return not str(self.data.get(self.add_prefix("value"), "")).strip()

    @property
    def base(self) -> str:
        """What stood there when the page was loaded."""
        return self.theirs if self.theirs is not None else self.data.get(self.add_prefix("base"), "")

    theirs: str | None = None

    @property
    def stored(self) -> str:
        """What stands there now, as one text."""
        return measured_text(self.line.taken) if self.line.taken else ""

    def is_untouched(self) -> bool:
        """Whether every field holds what the page was drawn with."""
        return all(
            str(self.data.get(self.add_prefix(name), "")).strip() == str(self[name].initial or "").strip()
            for name in self.fields
            if self.add_prefix(name) in self.data
        )

    def measured(self) -> dict[str, Any]:
        """Return the measurement as the action takes it."""
        values = self.cleaned_data
        return {
            "value": values["value"], "unit": values.get("unit", ""), "instrument": values["instrument"],
            "context": {name: self._kept(name) for name in self.beside if values[name] is not None},
        }  # fmt: skip

    def _kept(self, name: str) -> float:
        """A pressure beside the value was typed in the value's unit and is kept in kPa."""
        value, unit = self.cleaned_data[name], self.cleaned_data.get("unit", "")
        return float(to_kpa(value, unit)) if name.endswith("_kpa") and unit in {"bar", "psi"} else value

    def shown(self) -> list[Any]:
        """Return the fields to draw, in order; the instrument stands apart."""
        return [self[name] for name in self.fields if name != "instrument"]


class SwapForm(fields.Form):
    """A swap without a new serial: a place is left empty, or its part is named by the old serial."""

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
    """A component that failed: how, why, how it was found; the modes are those of its kind of part."""

    component_id = forms.IntegerField(widget=forms.HiddenInput)
    mode = forms.ChoiceField(label="How it failed")
    cause = forms.ChoiceField(label="Why", required=False)
    found = forms.ChoiceField(label="Found by", required=False)
    warranty = fields.tick("Claimed under warranty")
    note = fields.text("In your own words", 400)

    def __init__(self, part_kind: str, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("prefix", "failure")
        super().__init__(*args, **kwargs)
        lists = (("mode", failures.modes_for(part_kind)), ("cause", failures.CAUSES), ("found", failures.FOUND))
        for name, codes in lists:
            self.fields[name].choices = [("", "choose" if name == "mode" else "not known"), *codes.items()]


class SignForm(fields.Form):
    """The signature: the PIN or the password once more."""

    pin = forms.CharField(
        label="Your PIN", required=False, max_length=8,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "data-never-kept": True}),
    )  # fmt: skip
    password = forms.CharField(
        label="Your password", required=False, strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "data-never-kept": True}),
    )  # fmt: skip
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
        if name in known and not isinstance(value, Mapping | list)
    ]
