"""How a failure is described: mode, cause and how it was found, from short lists.

The structure (mode, mechanism, cause, detection method) follows ISO 14224:2016; words and numbers from memory, cut down
to what a trike workshop meets. A failure is an event, a fault is a state (EN 13306).
"""

from services.errors import Refusal
from services.language import marked

MODES: dict[str, str] = marked({
    "leakage": "leaks",
    "wear": "worn out",
    "breakage": "broken",
    "crack": "cracked",
    "looseness": "loose or with play",
    "deformation": "bent or out of true",
    "sticking": "sticks or is stiff",
    "noise": "noisy or vibrates",
    "corrosion": "corroded",
    "overheating": "too hot",
    "no_function": "does not work",
    "intermittent": "works now and then",
    "low_output": "too weak (range, force, light)",
    "software": "software fault",
    "other": "other",
})  # fmt: skip
CAUSES: dict[str, str] = {
    "design": "design",
    "material": "material or making",
    "fitting": "fitting or assembly",
    "use": "use outside its purpose",
    "service": "missed or wrong service",
    "wear": "expected wear",
    "accident": "accident",
    "unknown": "not known",
}
FOUND: dict[str, str] = {
    "owner": "owner noticed",
    "service": "at a planned service",
    "inspection": "at an inspection",
    "measurement": "by measuring",
    "test_ride": "on the test ride",
    "breakdown": "broke down on the road",
}

# Which modes each kind of part is offered first, the frequent ones in front; the others of MODES follow after them only
# on request. The structure (modes per class of equipment) is ISO 14224's, from memory; the choice is common practice, no source.
_OFFERED: dict[str, str] = {
    "frame": "crack deformation looseness corrosion noise",
    "motor": "no_function noise intermittent overheating low_output software",
    "battery": "low_output no_function deformation overheating intermittent corrosion",
    "display": "no_function intermittent software breakage",
    "hub_geared": "leakage noise sticking wear looseness no_function",
    "chain": "wear breakage noise sticking corrosion",
    "air_shock": "leakage sticking noise wear breakage",
    "elastomer": "crack wear deformation noise breakage",
    "brake": "wear leakage noise sticking low_output looseness",
    "rotor": "wear deformation crack noise",
    "wheel": "deformation looseness breakage crack noise wear",
    "tyre": "leakage wear crack deformation breakage",
    "seat_mesh": "wear breakage looseness deformation",
    "headrest": "breakage looseness wear",
    "hinge": "looseness crack noise sticking wear",
    "kingpin": "looseness wear noise crack",
    "tie_rod": "looseness deformation wear crack",
    "idler": "noise wear sticking breakage looseness",
    "shifter": "sticking wear breakage no_function looseness",
    "torque_arm": "looseness crack deformation",
    "speed_sensor": "no_function intermittent looseness breakage",
    "lights": "no_function intermittent breakage low_output corrosion",
    "rack": "breakage crack looseness",
    "castor": "breakage wear sticking looseness",
    "kickstand": "breakage looseness deformation",
    "charger": "no_function overheating breakage intermittent",
}


def modes_for(part_kind: str) -> dict[str, str]:
    """Return the short list of failure modes of a kind of part, with its words; 'other' stands last. All for unknown kinds."""
    offered = _OFFERED.get(part_kind)
    return {code: MODES[code] for code in [*offered.split(), "other"]} if offered else dict(MODES)


class BadFailureCode(Refusal):
    """A word that is not on the list."""

    code = "bad-failure-code"


def check_failure(mode: str, cause: str = "", found: str = "") -> None:
    """Raise BadFailureCode naming the field whose word is not on its list; cause and found may be empty."""
    for field, value, words in (("mode", mode, MODES), ("cause", cause, CAUSES), ("found", found, FOUND)):
        if value not in words and not (field != "mode" and value == ""):
            raise BadFailureCode(
                f"'{value}' is not on the list of {field}s.", field=field, remedy=f"One of: {', '.join(words)}."
            )
