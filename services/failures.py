"""How a failure is described: mode, cause and how it was found, from short lists.

The structure (mode, mechanism, cause, detection method) follows ISO 14224:2016; words and numbers from memory, cut down
to what a trike workshop meets. A failure is an event, a fault is a state (EN 13306).
"""

from services.errors import Refusal

MODES: dict[str, str] = {
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
}
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
