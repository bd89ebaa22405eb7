"""A reading being typed: the range its display is expected in, and the one question while a person can still look."""

from typing import Any

from services.units import say_distance
from tracker.actions.refusals import PleaseConfirm
from tracker.actions.usage import AS_TYPED, UNANSWERED
from tracker.pages import fields
from tracker.queries.life import Distance

UNITS = [("km", "km"), ("mi", "miles")]


class TypedReading(fields.Form):
    """What a display shows. Sent again unchanged after the question, or by one of its buttons, it is answered."""

    value = fields.number("The display shows")
    unit = fields.choice("Unit", UNITS)

    def clean(self) -> dict[str, Any]:
        """Add the answer for the action: none yet, as typed, or the other meaning that was chosen."""
        cleaned = super().clean() or {}
        self.typed = {name: cleaned.get(name) for name in ("value", "unit")}  # a refusal takes the value away
        cleaned["answer"] = answer_in(self.data, typed_as(cleaned.get("value"), cleaned.get("unit")))
        return cleaned

    def expect(self, found: Distance, unit: str) -> None:
        """Write the expected range beside the field."""
        told = [self.fields["value"].help_text, expected_words(found, unit)]
        self.fields["value"].help_text = " ".join(words for words in told if words)

    @property
    def question(self) -> dict[str, Any] | None:
        """What its buttons need while the question is open: what was typed, and the likeliest other meaning."""
        return question_in(getattr(self, "refusal", None), self.typed) if self.is_bound else None


def typed_as(value: Any, unit: Any) -> str:
    """Return what was typed as one text: an answer counts for just this value in this unit."""
    return "" if value is None else f"{float(value):.3f} {unit}"


def answer_in(sent: Any, typed: str) -> str:
    """Return the answer that was sent with `typed`: '' unless the question was asked about the same value."""
    return sent.get("meant", AS_TYPED)[:40] if typed and sent.get("confirmed") == typed else UNANSWERED


def question_in(refusal: Any, typed: dict[str, Any]) -> dict[str, Any] | None:
    """Return the open question of a refused reading, or None."""
    if not isinstance(refusal, PleaseConfirm):
        return None
    value, unit = typed["value"], typed["unit"]
    proposals = refusal.facts["proposals"]
    return {"typed": typed_as(value, unit), "value": value, "unit": unit, "other": proposals[0] if proposals else None}


def expected_words(found: Distance, unit: str) -> str:
    """Return the expected range as a sentence, in the unit people of this trike use; '' where nothing is known."""
    if found.display_least_km is None:
        return ""
    ends = (found.display_least_km, found.display_most_km, found.display_km)
    low, high, likely = (say_distance(km, unit) for km in ends)
    begun = "last read" if found.is_read else "at the handover"
    return f"Expected now: {low} ({begun}) to {high}, most likely {likely}."
