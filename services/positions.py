"""Where a component sits on a trike: the positions and which kinds of part they take."""

from dataclasses import dataclass

from services.errors import Refusal


class WrongPosition(Refusal):
    """A part that does not belong in this position."""

    code = "wrong-position"


@dataclass(frozen=True)
class Position:
    """One place on a tadpole trike. `serial_expected`: a build normally records a serial here."""

    code: str
    title: str
    part_kinds: tuple[str, ...]
    serial_expected: bool = False


_LIST = (
    Position("frame", "frame", ("frame",), True),
    Position("boom-motor", "boom motor", ("motor",), True),
    Position("battery", "battery", ("battery",), True),
    Position("display", "display", ("display",), True),
    Position("rear-hub", "rear hub", ("hub_geared",), True),
    Position("chain", "chain", ("chain",), True),
    Position("rear-shock", "rear shock", ("air_shock",), True),
    Position("elastomer-left", "left elastomer", ("elastomer",), True),
    Position("elastomer-right", "right elastomer", ("elastomer",), True),
    Position("brake-left", "left brake", ("brake",), True),
    Position("brake-right", "right brake", ("brake",), True),
    Position("brake-rear", "rear brake", ("brake",)),
    Position("seat", "seat", ("seat_mesh",), True),
    Position("wheel-left", "left wheel", ("wheel",)),
    Position("wheel-right", "right wheel", ("wheel",)),
    Position("wheel-rear", "rear wheel", ("wheel",)),
    Position("tyre-left", "left tyre", ("tyre",)),
    Position("tyre-right", "right tyre", ("tyre",)),
    Position("tyre-rear", "rear tyre", ("tyre",)),
    Position("rotor-left", "left rotor", ("rotor",)),
    Position("rotor-right", "right rotor", ("rotor",)),
    Position("idler", "idler", ("idler",)),
    Position("shifter", "shifter and cables", ("shifter",)),
    Position("torque-arm", "torque arm", ("torque_arm",)),
    Position("speed-sensor", "speed sensor", ("speed_sensor",)),
    Position("lights", "lights", ("lights",)),
    Position("headrest", "headrest", ("headrest",)),
    Position("rack", "rack", ("rack",)),
    Position("hinge", "folding hinge", ("hinge",)),
    Position("kingpin-left", "left kingpin", ("kingpin",)),
    Position("kingpin-right", "right kingpin", ("kingpin",)),
    Position("tie-rod", "tie rod", ("tie_rod",)),
    Position("castors", "transport castors", ("castor",)),
    Position("kickstand", "kickstand", ("kickstand",)),
    Position("charger", "charger", ("charger",)),
)
POSITIONS: dict[str, Position] = {position.code: position for position in _LIST}


def check_position(position: str, part_kind: str) -> None:
    """Raise WrongPosition when `position` is unknown or does not take parts of `part_kind`."""
    place = POSITIONS.get(position)
    if place is None:
        raise WrongPosition(
            f"'{position}' is no position on a trike.", field="position", remedy="Choose from the list."
        )
    if part_kind not in place.part_kinds:
        takes = " or ".join(kind.replace("_", " ") for kind in place.part_kinds)
        raise WrongPosition(
            f"{place.title.capitalize()} takes a {takes}, not a {part_kind.replace('_', ' ')}.",
            field="position", remedy="Check the position and the serial.",
        )  # fmt: skip
