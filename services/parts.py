"""Kinds of part and the rated values a catalogue entry of each kind must carry.

Ranges only keep slips of the hand out; they are common practice, no source. Limits of the trade stand in services/kinds.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

from services.errors import Refusal


@dataclass(frozen=True)
class Rated:
    """One rated value: its name with the unit in it, how it reads, and what is plausible."""

    name: str
    title: str
    unit: str = ""
    low: float = 0.0
    high: float = 1e6
    type: str = "number"  # number, text, choice, table (rows of system mass in kg and a value in `unit`)
    choices: tuple[str, ...] = ()
    required: bool = True
    never_above: str = ""  # the rated value that it, or any row of a table, may not pass


SYSTEM_KG = (30.0, 500.0)  # plausible system mass: rider, luggage and trike
MOST_ROWS = 20


@dataclass(frozen=True)
class PartKind:
    """A kind of part, as the trade names it."""

    code: str
    title: str
    rated: tuple[Rated, ...] = ()


class RatedProblem(NamedTuple):
    """What is wrong with one rated value."""

    name: str
    code: str
    message: str


class BadRatedValues(Refusal):
    """One or more rated values cannot be right; `problems` names each."""

    code = "bad-rated-values"

    def __init__(self, problems: list[RatedProblem]) -> None:
        super().__init__(
            " ".join(problem.message for problem in problems),
            field="rated", remedy="Correct the values named.", problems=[problem._asdict() for problem in problems],
        )  # fmt: skip
        self.problems = problems


def _number(
    name: str, title: str, unit: str, low: float, high: float, required: bool = True, never_above: str = ""
) -> Rated:
    return Rated(name, title, unit, low, high, required=required, never_above=never_above)


def _text(name: str, title: str, required: bool = True) -> Rated:
    return Rated(name, title, type="text", required=required)


def _choice(name: str, title: str, *choices: str, required: bool = True) -> Rated:
    return Rated(name, title, type="choice", choices=choices, required=required)


def _table(name: str, title: str, unit: str, low: float, high: float, never_above: str) -> Rated:
    return Rated(name, title, unit, low, high, type="table", required=False, never_above=never_above)


_LIST = (
    PartKind("frame", "frame", (
        _number("max_system_kg", "maximum system mass", "kg", 60, 500, required=False),
    )),
    PartKind("motor", "mid-drive motor", (
        _text("firmware_family", "firmware family"),
        _number("nominal_w", "nominal power", "W", 50, 3000),
        _number("nominal_v", "nominal voltage", "V", 12, 72),
    )),
    PartKind("battery", "battery", (
        _number("rated_wh", "rated energy", "Wh", 50, 3000),
        _number("nominal_v", "nominal voltage", "V", 12, 72),
        _text("cells", "cells", required=False),
    )),
    PartKind("display", "display", (_text("firmware_family", "firmware family", required=False),)),
    PartKind("hub_geared", "geared hub", (
        _number("gears", "gears", "", 2, 30),
        _number("oil_ml", "oil volume", "ml", 0, 200),
    )),
    PartKind("chain", "chain", (
        _number("pitch_mm", "pitch", "mm", 12.7, 12.7),
        _number("links", "links", "", 40, 500),
        _number("limit_pct", "wear limit", "%", 0.3, 1.5),
        _choice("drivetrain", "drivetrain", "derailleur", "hub_gear"),
        _number("speeds", "speeds", "", 1, 14),
    )),
    PartKind("air_shock", "air shock", (
        _number("max_kpa", "maximum pressure", "kPa", 100, 3500),
        _number("stroke_mm", "stroke", "mm", 10, 150),
        _number("can_cm3", "air can volume", "cm3", 5, 1000, required=False),
        _table("start_table", "starting pressure by system mass", "kPa", 50, 3500, "max_kpa"),
    )),
    PartKind("elastomer", "elastomer", (
        _choice("grade", "grade", "soft", "medium", "firm"),
        _number("shore_a", "nominal hardness", "Shore A", 20, 98),
        _number("from_kg", "made for a system mass from", "kg", *SYSTEM_KG, required=False,
                never_above="below_kg"),
        _number("below_kg", "and below", "kg", *SYSTEM_KG, required=False),
    )),
    PartKind("brake", "brake", (
        _choice("kind", "kind", "disc", "drum"),
        _number("min_rotor_mm", "minimum rotor thickness", "mm", 1, 3, required=False),
        _number("new_pad_mm", "friction material when new", "mm", 1, 6, required=False),
    )),
    PartKind("rotor", "brake rotor", (
        _number("min_rotor_mm", "minimum thickness", "mm", 1, 3, required=False),
        _number("diameter_mm", "diameter", "mm", 100, 250, required=False),
    )),
    PartKind("wheel", "wheel", (
        _number("size_mm", "bead seat diameter", "mm", 200, 650, required=False),
        _number("spokes", "spokes", "", 12, 48, required=False),
    )),
    PartKind("tyre", "tyre", (
        _text("etrto", "size (ETRTO)", required=False),
        _number("min_kpa", "minimum pressure", "kPa", 50, 1000, required=False),
        _number("max_kpa", "maximum pressure", "kPa", 100, 1200, required=False),
    )),
    PartKind("seat_mesh", "seat mesh"),
    PartKind("headrest", "headrest"),
    PartKind("hinge", "folding hinge"),
    PartKind("kingpin", "kingpin"),
    PartKind("tie_rod", "tie rod"),
    PartKind("idler", "idler"),
    PartKind("shifter", "shifter and cables"),
    PartKind("torque_arm", "torque arm"),
    PartKind("speed_sensor", "speed sensor"),
    PartKind("lights", "lights"),
    PartKind("rack", "rack"),
    PartKind("castor", "transport castor"),
    PartKind("kickstand", "kickstand"),
    PartKind("charger", "charger", (_number("output_a", "output current", "A", 0.5, 20, required=False),)),
)  # fmt: skip
PART_KINDS: dict[str, PartKind] = {kind.code: kind for kind in _LIST}


def check_rated(kind: str, rated: Mapping[str, Any]) -> dict[str, Any]:
    """Return the rated values in the order of the kind. Raises BadRatedValues naming every value that is wrong."""
    if kind not in PART_KINDS:
        raise BadRatedValues([RatedProblem("kind", "unknown-part-kind", f"'{kind}' is no kind of part.")])
    known = {value.name: value for value in PART_KINDS[kind].rated}
    problems = [
        RatedProblem(name, "unknown-rated-value", f"A {PART_KINDS[kind].title} has no '{name}'.")
        for name in rated if name not in known
    ]  # fmt: skip
    answer = {}
    for name, value in known.items():
        given = rated.get(name)
        if given is None or given == "":
            if value.required:
                problems.append(
                    RatedProblem(name, "rated-value-missing", f"{value.title.capitalize()} ({name}) is missing.")
                )
            continue
        problem = (_problem_of_table if value.type == "table" else _problem)(value, given, _highest(value, rated))
        problems.extend([problem] if problem else [])
        answer[name] = given
    if problems:
        raise BadRatedValues(problems)
    return answer


def _highest(value: Rated, rated: Mapping[str, Any]) -> float:
    limit = rated.get(value.never_above)
    return limit if isinstance(limit, int | float) and value.low <= limit < value.high else value.high


def _problem(value: Rated, given: Any, high: float) -> RatedProblem | None:
    if value.type == "choice" and given not in value.choices:
        return RatedProblem(
            value.name, "rated-value-no-choice", f"{value.title.capitalize()}: one of {', '.join(value.choices)}."
        )
    if value.type == "text" and not (isinstance(given, str) and len(given) <= 80):
        return RatedProblem(
            value.name, "rated-value-no-text", f"{value.title.capitalize()}: text of at most 80 characters."
        )
    if value.type == "number":
        if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
            return RatedProblem(value.name, "rated-value-no-number", f"{value.title.capitalize()} must be a number.")
        if not value.low <= given <= high:
            span = f"{value.low:g}" if value.low == high else f"{value.low:g} to {high:g}"
            return RatedProblem(
                value.name,
                "rated-value-out-of-range",
                f"{value.title.capitalize()} must be {span} {value.unit}".strip() + ".",
            )
    return None


def _problem_of_table(value: Rated, given: Any, high: float) -> RatedProblem | None:
    title = value.title.capitalize()
    if not isinstance(given, Sequence) or isinstance(given, str) or not all(_is_pair(row) for row in given):
        words = f"{title}: rows of system mass and {value.unit}, like 75: 960, 95: 1150."
        return RatedProblem(value.name, "rated-value-no-table", words)
    if not 2 <= len(given) <= MOST_ROWS or any(a[0] >= b[0] for a, b in pairwise(given)):
        words = f"{title}: 2 to {MOST_ROWS} rows, each with more system mass than the one before."
        return RatedProblem(value.name, "rated-value-no-order", words)
    for mass, number in given:
        if not (SYSTEM_KG[0] <= mass <= SYSTEM_KG[1] and value.low <= number <= high):
            words = (
                f"{title}: {mass:g} kg with {number:g} {value.unit} lies outside {SYSTEM_KG[0]:g} to {SYSTEM_KG[1]:g} kg "
                f"and {value.low:g} to {high:g} {value.unit}."
            )
            return RatedProblem(value.name, "rated-value-out-of-range", words)
    return None


def _is_pair(row: Any) -> bool:
    is_row = isinstance(row, Sequence) and not isinstance(row, str) and len(row) == 2
    return is_row and all(
        isinstance(number, int | float) and not isinstance(number, bool) and math.isfinite(number) for number in row
    )


_ROW = re.compile(r"(\d{1,6}(?:\.\d{1,6})?)(?: kg)?(?:\s*:\s*|\s+)(\d{1,6}(?:\.\d{1,6})?)(?: [A-Za-z]{1,6})?")


def read_table(text: str) -> list[list[float]] | str:
    """Return the rows of a table typed as '75: 960, 95: 1150' or a row a line; what is none comes back as it is."""
    rows = [_ROW.fullmatch(part.strip()) for part in re.split(r"[,\n]", text) if part.strip()]
    return [[_plain(match[1]), _plain(match[2])] for match in rows if match] if rows and all(rows) else text


def _plain(digits: str) -> float:
    number = float(digits)
    return int(number) if number == int(number) else number


def say_table(rows: Sequence[Sequence[float]], between: str = ", ") -> str:
    """Return the rows of a table as read_table reads them."""
    return between.join(f"{mass:g}: {number:g}" for mass, number in rows)
