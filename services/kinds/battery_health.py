"""Battery health: measured capacity over rated capacity, in energy. Below 80 % warn, below 70 % replace.

80 % is the usual end of life for traction batteries (Diao et al., Energies 2019, 12, 2910), 70 % an e-bike seller's limit.
Charge only between 0 and 40 C (NFPA text). Shipping a damaged pack: 49 CFR 173.185(f), ground only.
"""

import math
from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

WARN_PCT = 80.0
REPLACE_PCT = 70.0
CHARGE_C = (0.0, 40.0)
SIGNS = ("odour", "colour change", "heat", "swelling", "leak", "smoke", "wet", "dropped")  # fire departments, NFPA text
STATES = ("ok", "watch", "quarantine", "returned", "disposed")


def state_of_health_pct(capacity_wh: float, rated_wh: float) -> float:
    """Return measured over rated capacity (%)."""
    return capacity_wh / rated_wh * 100


def energy_wh(volts: float, amp_hours: float) -> float:
    """Return energy (Wh)."""
    return volts * amp_hours


def equivalent_full_cycles(throughput_wh: float, rated_wh: float, *, both_directions: bool = False) -> float:
    """Return full cycles from energy throughput; counted both ways it is halved."""
    return throughput_wh / rated_wh / (2 if both_directions else 1)


def calendar_loss_pct(loss_pct: float, after_days: float, on_days: float) -> float:
    """Return calendar loss (%) on another day by the square root of time (growth of the electrode film)."""
    return loss_pct * math.sqrt(on_days / after_days)


def days_to_loss(loss_pct: float, after_days: float, limit_pct: float, model: str) -> float:
    """Return days until `limit_pct` is lost, by 'linear' or 'sqrt': the spread between them is the honest range."""
    share = limit_pct / loss_pct
    return after_days * (share if model == "linear" else share**2)


def may_charge(temp_c: float) -> bool:
    """Return whether a pack of that temperature may be charged."""
    return CHARGE_C[0] <= temp_c <= CHARGE_C[1]


def next_state(state: str, *, damaged: bool = False, released_by_maker: bool = False) -> str:
    """Return the battery's next state: damage means quarantine, and only the maker's release leads back (design)."""
    if damaged and state in {"ok", "watch"}:
        return "quarantine"
    if state == "quarantine" and released_by_maker:
        return "watch"
    return state


def may_ship(state: str, by: str) -> bool:
    """Return whether a pack may be shipped by 'air' or 'ground': quarantined ones by ground only, packed for it."""
    return by == "ground" or state in {"ok", "watch"}


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Any sign of damage: stop. Below 70 %: replace; below 80 %: soon; below 85 %: watch. Judged as shown."""
    if code == "battery_damage_signs":
        return _judge_signs(value)
    if not rated.get("rated_wh"):
        return Verdict("watch", f"{value:.0f} Wh - noted: the rated energy is not known.", value)
    health = round(state_of_health_pct(value, float(rated["rated_wh"])), 1)
    words = f"{value:.0f} Wh, {health:.1f} % of rated"
    limit = REPLACE_PCT / 100 * float(rated["rated_wh"])
    if health < REPLACE_PCT:
        return Verdict("replace", f"{words} - replace: below 70 %.", value, limit)
    if health < WARN_PCT:
        return Verdict("soon", f"{words} - replace soon: below 80 %.", value, limit)
    if health < WARN_PCT + 5:
        return Verdict("watch", f"{words} - watch: warning at 80 %.", value, limit)
    return Verdict("ok", f"{words} - good.", value, limit)


def _judge_signs(value: float) -> Verdict:
    if value > 0:
        return Verdict(
            "stop", f"{value:g} signs of damage - quarantine: do not charge, ride or ship by air.", value, 0.0
        )
    return Verdict("ok", "No sign of damage.", value, 0.0)


KIND = ServiceKind(
    "battery_health", "Battery health",
    tasks=(
        Task("battery_capacity_test", "Battery health", "battery", 20, safety=True,
             asks=("battery_damage_signs", "battery_capacity_wh"),
             verb="Last tested",
             plain="We measure how much energy the battery still holds and look for damage."),
    ),
    quantities=(
        Quantity("battery_damage_signs", "Signs of damage", "signs", 0, len(SIGNS), better="lower",
                 instrument=f"count: {', '.join(SIGNS)}", within="none"),
        Quantity("battery_capacity_wh", "Battery capacity", "Wh", 1, 3600, instrument="capacity tester", better="higher"),
    ),
    cautions=(
        "Damaged, swollen, hot, wet or dropped: do not charge, do not ride. Isolate it outdoors, away from anything that burns.",
        "Only trained people handle it; a damaged lithium battery is shipped under its own transport rules.",
        "Charge between 0 and 40 C, with the maker's charger, attended. The maker's instructions and local rules come first.",
    ),
    judge=judge,
)  # fmt: skip
