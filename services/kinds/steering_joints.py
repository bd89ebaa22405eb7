"""Kingpins and tie rods: no play (trike maker manual A); rod ends screwed in at least 8 mm (manual D).

A top kingpin bolt was found backed out on a new trike (an owner), so the first inspection looks. Play below a tenth of a
millimetre is what a hand takes for none (common practice, no source).
"""

from collections.abc import Mapping
from typing import Any

from services.kinds.alignment import ROD_END_MM, rod_end_ok
from services.kinds.model import Quantity, ServiceKind, Task, Verdict

FELT_MM = 0.1


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Play that can be felt, or a rod end in by less than 8 mm: stop."""
    if code == "rod_end_thread_mm":
        if rod_end_ok(value):
            return Verdict("ok", f"{value:g} mm of thread - good: at least {ROD_END_MM:g} mm.", value, ROD_END_MM)
        return Verdict("stop", f"{value:g} mm of thread - do not ride: at least {ROD_END_MM:g} mm.", value, ROD_END_MM)
    if value > FELT_MM:
        return Verdict("stop", f"{value:g} mm play - do not ride: no play is allowed.", value, FELT_MM)
    return Verdict("ok", "No play.", value, FELT_MM)


KIND = ServiceKind(
    "steering_joints", "Kingpins and tie rods",
    tasks=(
        Task("steering_joints_check", "Kingpins and tie rods", "frame", 15, safety=True, release=True,
             asks=("steering_play_mm", "rod_end_thread_mm"), verb="Last checked",
             plain="We check the steering for play and the bolts that hold it."),
    ),
    quantities=(
        Quantity("steering_play_mm", "Play in the steering, worst joint", "mm", 0, 20, instrument="dial gauge or by hand",
                 better="lower", within="none"),
        Quantity("rod_end_thread_mm", "Rod end thread, shortest", "mm", 0, 60, instrument="calliper", better="higher",
                 within=f"at least {ROD_END_MM:g} mm"),
    ),
    cautions=("Play in the steering: do not ride until it is put right. Test before riding after any work on it.",),
    judge=judge,
)  # fmt: skip
