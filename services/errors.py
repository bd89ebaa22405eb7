"""How the workshop says no: every refusal carries a code, a field, a sentence and a way out."""

from typing import Any, ClassVar


class Refusal(Exception):
    """Something the workshop will not accept, told so that a person at the desk can put it right.

    ``code`` (kebab-case, one per class) is for programs; ``message`` is the sentence for the desk;
    ``field`` names the box on the form, or None when no one box is to blame; ``remedy`` says what to
    do instead; ``facts`` keeps the values behind the sentence, for those who answer in another form.
    """

    code: ClassVar[str] = "refused"

    def __init__(self, message: str, *, field: str | None = None, remedy: str = "", **facts: Any) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.remedy = remedy
        self.facts = facts


class ImpossibleMeasurement(Refusal):
    """A measured value that no tool could have read on this part: a slip of the hand or of the unit."""

    code = "impossible-measurement"
