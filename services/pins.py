"""The PIN a person signs with at the bench: short, so what is guessed first is refused (common practice, no source)."""

from services.errors import Refusal

SHORTEST, LONGEST = 4, 8
_UP = "01234567890"


class WeakPin(Refusal):
    """Not four to eight digits, or one of those tried first."""

    code = "weak-pin"


def check_pin(pin: str) -> None:
    """Raise WeakPin unless `pin` is four to eight digits that neither repeat one digit nor count up or down."""
    if not (pin.isascii() and pin.isdigit() and SHORTEST <= len(pin) <= LONGEST):
        raise WeakPin("A PIN is four to eight digits.", field="pin", remedy="Digits only, nothing else.")
    if len(set(pin)) == 1 or pin in _UP or pin in _UP[::-1]:
        raise WeakPin("This PIN is one of those tried first.", field="pin", remedy="Choose another.")
