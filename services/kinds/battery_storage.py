"""A battery laid up: keep it 30 to 60 % full, 10 to 20 C, look at it every 3 months.

Makers print 30-50, 40-60 and 40-80 %, and every 1, 2, 3 or 6 months: a setting, these are the defaults.
"""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

CHARGE_PCT = (30.0, 60.0)


def storage_advice(charge_pct: float) -> str:
    """Return 'ok' or 'advise' for a pack about to be stored."""
    low, high = CHARGE_PCT
    return "ok" if low <= charge_pct <= high else "advise"


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Inside 30 to 60 %: good for storing."""
    if storage_advice(value) == "ok":
        return Verdict("ok", f"{value:.0f} % full - good for storing: 30 to 60 %.", value, CHARGE_PCT[1])
    word = "charge it a little" if value < CHARGE_PCT[0] else "ride it down a little"
    return Verdict("watch", f"{value:.0f} % full - {word}: store at 30 to 60 %.", value, CHARGE_PCT[1])


KIND = ServiceKind(
    "battery_storage", "Battery storage",
    tasks=(
        Task("battery_storage_check", "Battery before the winter", "battery", 5, owner_can=True,
             asks=("storage_charge_pct",), verb="Last checked",
             plain="If you lay the trike up, store the battery 30 to 60 % full, dry and frost-free; look at it every 3 months."),
    ),
    quantities=(
        Quantity("storage_charge_pct", "Charge in storage", "%", 0, 100, instrument="battery display",
                 within=f"{CHARGE_PCT[0]:g} to {CHARGE_PCT[1]:g} %"),
    ),
    cautions=("Swollen, hot, wet or smelling: do not charge it; take it outdoors, away from anything that burns, and call us.",),
    judge=judge,
)  # fmt: skip
