"""The limit of a measured value in words, to stand beside its field before anything is typed; and what a task uses up."""

from collections.abc import Mapping
from typing import Any

from services.kinds import quantity
from services.kinds.model import Task
from services.kinds.shock_air import LOW_SHARE
from services.units import say_pressure
from services.wear_kinds import WEAR_KINDS


def limit_words(quantity_code: str, rated: Mapping[str, Any], context: Mapping[str, Any]) -> str:
    """Return what a good value keeps to, for a part with these rated values; '' where that is not known of it.

    context: what is noted beside the value and known already (as the pressure set at the handover). Raises KeyError.
    """
    measured, kind = quantity(quantity_code), WEAR_KINDS.get(quantity_code)
    if measured.within:
        return measured.within
    if measured.unit == "kPa":
        return _pressure(rated, context)
    if kind is None or kind.lacks(rated, context):
        return ""
    warn, limit = (kind.say.format(value) for value in kind.limits(rated, context))
    return f"order a new one from {warn}, limit {limit}"


def _pressure(rated: Mapping[str, Any], context: Mapping[str, Any]) -> str:
    told = []
    if context.get("set_kpa"):
        set_kpa = float(context["set_kpa"])
        told.append(f"set to {say_pressure(set_kpa)}, top up below {say_pressure(LOW_SHARE * set_kpa)} at 20 C")
    if rated.get("max_kpa"):
        told.append(f"never above {say_pressure(float(rated['max_kpa']))}")
    return ", ".join(told)


def uses_words(task: Task, rated: Mapping[str, Any]) -> list[str]:
    """Return what a task uses up on a part with these rated values; what rests on a value nobody rated is left out."""
    told = []
    for words in task.uses:
        try:
            told.append(words.format(**rated))
        except (KeyError, ValueError):
            continue
    return told
