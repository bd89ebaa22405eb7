"""What the workshop's record refuses, in words: each with a code, the field it concerns and what to do.

`status` tells the doors how to answer: invalid (422), conflict (409), forbidden (403), missing (404).
"""

from services.errors import Refusal


class Invalid(Refusal):
    """The request is understood but breaks a rule."""

    code = "invalid"
    status = "invalid"


class Conflict(Refusal):
    """The request clashes with what stands in the record now."""

    code = "conflict"
    status = "conflict"


class SerialAlreadyFitted(Conflict):
    """The component sits in another place."""

    code = "serial-already-fitted"


class PositionTaken(Conflict):
    """The place holds another component."""

    code = "position-taken"


class SerialAlreadyKnown(Conflict):
    """A component or trike with this serial is registered already."""

    code = "serial-already-known"


class ComponentNotUsable(Conflict):
    """Quarantined, returned or scrapped components are not fitted."""

    code = "component-not-usable"


class WrongState(Conflict):
    """The thing is not in the state this step needs."""

    code = "wrong-state"


class CardAlreadySigned(Conflict):
    """A signed card is immutable."""

    code = "card-already-signed"


class StaleVersion(Conflict):
    """Somebody else changed it since it was read."""

    code = "stale-version"


class SameSigner(Conflict):
    """The second signature needs a second person."""

    code = "same-signer"


class SameOwner(Conflict):
    """The trike belongs to this person already."""

    code = "same-owner"


class NotThisTrike(Invalid):
    """The component does not sit on the trike of the card."""

    code = "not-on-this-trike"


class UnknownSerial(Invalid):
    """No component has this serial."""

    code = "unknown-serial"


class RemovedBeforeFitted(Invalid):
    """The end would lie before the beginning."""

    code = "removed-before-fitted"


class UnknownTask(Invalid):
    """No service kind knows this task."""

    code = "unknown-task"


class UnknownQuantity(Invalid):
    """No service kind measures this."""

    code = "unknown-quantity"


class UnknownTimeZone(Invalid):
    """Not a zone of the IANA database."""

    code = "unknown-time-zone"


class BadAddress(Invalid):
    """The e-mail address or phone number cannot be used."""

    code = "bad-address"


class NotEnough(Invalid):
    """Something needed is missing."""

    code = "not-enough"


class FieldNotChangeable(Invalid):
    """The field cannot be changed this way."""

    code = "field-not-changeable"


class FieldInvalid(Invalid):
    """A value that the record does not take."""

    code = "field-invalid"


class PleaseConfirm(Conflict):
    """The reading is unlike this rider: please look at the display again.

    Nothing was recorded. If the display shows what was sent, send it again with `confirm` true; else send what it shows.
    `facts` has the range the display is expected in, eight times in ten, and what else the digits may have meant.
    """

    code = "please-confirm"
