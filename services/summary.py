"""What the owner reads after a visit: what was done, measured, found and left, and what comes next. Plain words, no codes.

Values in, sentences out, in the units the owner chose.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from services.calendar_words import say_date
from services.failures import MODES
from services.kinds import comes_with, quantity, task
from services.language import localised, marked, say
from services.units import say_distance, say_pressure

LONGEST = 4_000  # characters of a summary
NEXT = 4  # tasks told of what comes next
# What was done, as one says it to an owner. A task without words of its own is told by its title.
_DONE = marked({
    "after_crash": "checked the whole trike after the crash",
    "after_lay_up": "made the trike ready after its long rest",
    "after_submersion": "dried and checked the trike after it stood in water",
    "toe_in_check": "checked that the front wheels run parallel",
    "axle_check": "checked that the rear wheel sits firmly",
    "battery_capacity_test": "measured how much energy the battery still holds",
    "battery_mount_check": "checked that the battery sits and locks firmly",
    "battery_storage_check": "made the battery ready for the winter",
    "brakes_check": "checked and set the brakes",
    "castors_check": "checked castors and kickstand",
    "chain_check": "measured the wear of the chain",
    "chain_clean": "cleaned and oiled the chain",
    "display_check": "checked the display and its buttons",
    "elastomer_inspection": "checked the rubber springs",
    "first_inspection": "did the first inspection: bolts, cables, spokes and brakes are set again",
    "general_service": "did the yearly service: everything is checked, set and oiled",
    "hinge_check": "checked the folding hinge and its lock",
    "hub_oil_change": "changed the oil of the gear hub",
    "idlers_check": "checked the rollers and tubes that guide the chain",
    "lights_check": "checked the lights",
    "major_service": "did the large service: bearings, cables, drive, tyres and spokes",
    "motor_bolts_check": "checked that motor and boom are bolted firmly",
    "motor_firmware_check": "checked the motor's software",
    "motor_service": "served the motor",
    "quick_releases_check": "checked the quick releases",
    "rack_check": "checked rack and pannier hooks",
    "seat_check": "checked and tightened the seat",
    "shifting_check": "checked the gears and their cables",
    "shock_air_check": "set the air in the rear shock",
    "shock_air_can_service": "cleaned the rear shock and renewed its seals",
    "shock_full_service": "took the rear shock apart and renewed seals and oil",
    "speed_sensor_check": "checked the speed sensor",
    "steering_joints_check": "checked the steering for play",
    "tyre_pressure_check": "pumped the tyres",
    "tyres_check": "checked the tyres",
    "wheels_check": "checked and trued the wheels",
    "wiring_check": "checked cables and plugs",
})  # fmt: skip
_LEVELS = marked({
    "ok": "good", "watch": "fine for now, we keep an eye on it", "soon": "will have to be renewed soon",
    "replace": "at its limit", "stop": "not safe to ride until it is put right",
})  # fmt: skip
_NAMES = marked({
    "chain_elongation_pct": "Wear of the chain", "pad_mm": "Brake pads", "rotor_mm": "Brake rotor",
    "shock_pressure": "Air in the rear shock", "shock_sag_pct": "How far the rear shock gives under you",
    "toe_in_mm": "Front wheels out of parallel", "battery_capacity_wh": "Energy the battery holds",
    "battery_damage_signs": "Signs of damage on the battery", "storage_charge_pct": "Charge of the battery in storage",
    "hardness_shore_a": "Hardness of the rubber springs", "compression_set_pct": "Rubber springs pressed flat by",
    "crack_depth_mm": "Deepest crack in the rubber springs", "free_height_mm": "Height of the rubber springs",
    "hinge_play_mm": "Play in the folding hinge", "sensor_gap_mm": "Gap at the speed sensor",
    "steering_play_mm": "Play in the steering", "rod_end_thread_mm": "Thread that holds the steering rod",
    "tyres_damaged": "Damaged tyres", "spoke_deviation_pct": "Spokes differ by",
})  # fmt: skip
_COUNTED = {"signs", "tyres"}  # units that only say what is counted


@dataclass(frozen=True)
class Told:
    """A task and where its part sits; the place is '' for the trike itself."""

    code: str
    place: str = ""


@dataclass(frozen=True)
class Taken:
    """A measured value in the quantity's own unit, with its level."""

    quantity: str
    value: float
    level: str = ""
    place: str = ""


@dataclass(frozen=True)
class Changed:
    """A swap: the place, and whether a part left and one came."""

    place: str
    out: bool
    into: bool


@dataclass(frozen=True)
class Fault:
    """A part that failed."""

    place: str
    mode: str
    warranty: bool = False


@dataclass(frozen=True)
class Ahead:
    """A task that comes next; `likely` is the range of days in words, '' where the day is certain."""

    title: str
    due_on: date
    likely: str = ""
    owner_can: bool = False


@dataclass(frozen=True)
class Visit:
    """What a card tells an owner. `on` is the day on the owner's calendar; `ride` what to look at before riding off."""

    on: date
    km: float | None = None
    done: tuple[Told, ...] = ()
    taken: tuple[Taken, ...] = ()
    changed: tuple[Changed, ...] = ()
    faults: tuple[Fault, ...] = ()
    left: tuple[Told, ...] = ()
    ride: tuple[str, ...] = ()


@dataclass(frozen=True)
class Block:
    """A paragraph of a summary, or a list where its lines begin with a dash."""

    lines: tuple[str, ...]
    is_list: bool = False

    @property
    def heading(self) -> str:
        """What stands above a list, without its colon; '' for any other paragraph."""
        alone = not self.is_list and len(self.lines) == 1 and self.lines[0].endswith(":")
        return self.lines[0].removesuffix(":") if alone else ""


def proposed(visit: Visit, unit: str = "km", pressure: str = "bar") -> str:
    """Return the summary of a visit as the workshop proposes it, for an owner of `unit` (km, mi) and `pressure` (psi, bar)."""
    lists = [
        (say("What we did:"), [*_done_lines(visit.done), *_changed_lines(visit.changed)]),
        (say("What we measured:"), [_taken_line(taken, pressure) for taken in visit.taken]),
        (say("What we found:"), _fault_lines(visit.faults)),
        (say("Left for another time:"), [_left_line(told) for told in _once(visit.left)]),
        (say("Before you ride:"), [say(words) for words in visit.ride]),
    ]
    parts = [_opening(visit, unit)]
    parts += [f"{head}\n" + "\n".join(f"- {line}" for line in lines) for head, lines in lists if lines]
    return "\n\n".join(parts)[:LONGEST]


def _opening(visit: Visit, unit: str) -> str:
    if visit.km is None:
        return say("Your trike was with us on {date}.", date=say_date(visit.on))
    return say(
        "Your trike was with us on {date}; its odometer stood at {distance}.", date=say_date(visit.on),
        distance=say_distance(visit.km, unit),
    )  # fmt: skip


def _once(told: Sequence[Told]) -> list[tuple[str, list[str]]]:
    """Each task once with its places; what a larger one of them includes is not told by itself."""
    inside = comes_with(one.code for one in told)
    places: dict[str, list[str]] = {}
    for one in told:
        if one.code not in inside:
            places.setdefault(one.code, []).extend([one.place] if one.place else [])
    return list(places.items())


def _done_lines(done: Sequence[Told]) -> list[str]:
    return [_done_line(code, places) for code, places in _once(done)]


def _done_line(code: str, places: Sequence[str]) -> str:
    words = _DONE.get(code)
    line = say("We {did}", did=say(words)) if words else say("{title}: done", title=say(task(code).title))
    return f"{line}{_at(places)}."


def _at(places: Sequence[str]) -> str:
    """The places, where there are several to tell apart: one of a kind needs no place."""
    return f" ({_join(places)})" if len(places) > 1 or any(_has_sides(place) for place in places) else ""


def _has_sides(place: str) -> bool:
    return place.startswith(("left ", "right ")) or place in {"rear brake", "rear wheel", "rear tyre"}


def _join(words: Sequence[str]) -> str:
    told = [say(word) for word in words]
    return told[0] if len(told) == 1 else say("{some} and {last}", some=", ".join(told[:-1]), last=told[-1])


def _left_line(told: tuple[str, list[str]]) -> str:
    return f"{say(task(told[0]).title)}{_at(told[1])}"


def _changed_lines(changed: Iterable[Changed]) -> list[str]:
    return [_changed_line(one) for one in changed]


def _changed_line(changed: Changed) -> str:
    place = say(changed.place)
    if changed.out and changed.into:
        return say("We replaced the {part}.", part=place)
    return say("We fitted the {part}.", part=place) if changed.into else say("We took off the {part}.", part=place)


def _taken_line(taken: Taken, pressure: str) -> str:
    known = quantity(taken.quantity)
    name = say(_NAMES.get(taken.quantity, known.title))
    where = _at([taken.place] if taken.place else [])
    return f"{name}{where}: {say_finding(taken, pressure)}."


def say_finding(taken: Taken, pressure: str = "bar") -> str:
    """Return a measured value and what it means, as its owner reads it: '0.81 %, at its limit'."""
    value = say_value(taken.value, quantity(taken.quantity).unit, pressure)
    return f"{value}, {say(_LEVELS[taken.level])}" if taken.level in _LEVELS else value


def say_value(value: float, measured_in: str, pressure: str = "bar") -> str:
    """Return a measured value as its owner reads it; pressures in psi, bar or kPa as the owner chose."""
    if measured_in == "kPa":
        return say_pressure(value, pressure)
    shown = localised(f"{value:,.2f}".rstrip("0").rstrip("."))
    return shown if measured_in in _COUNTED else f"{shown} {measured_in}"


def _fault_lines(faults: Iterable[Fault]) -> list[str]:
    return [_fault_line(fault) for fault in faults]


def _fault_line(fault: Fault) -> str:
    place, mode = say(fault.place), say(MODES.get(fault.mode, fault.mode))
    warranty = f" {say('It is a warranty case.')}" if fault.warranty else ""
    return f"{place[:1].upper()}{place[1:]}: {mode}.{warranty}"


def next_lines(ahead: Iterable[Ahead], today: date) -> list[str]:
    """Return what comes next, soonest first, each with its range of days in words."""
    soonest = sorted(ahead, key=lambda one: one.due_on)[:NEXT]
    return [f"{say(one.title)}{_by_whom(one)}: {_when(one, today)}." for one in soonest]


def _by_whom(one: Ahead) -> str:
    return f" {say('(you can do it yourself)')}" if one.owner_can else ""


def _when(one: Ahead, today: date) -> str:
    if one.due_on < today:
        return say("was due {date}", date=say_date(one.due_on))
    return one.likely or say_date(one.due_on)


def blocks(text: str) -> list[Block]:
    """Return a summary as paragraphs and lists, for pages and mail; blank lines part them."""
    found: list[Block] = []
    for line in (line.strip() for line in text.replace("\r\n", "\n").split("\n")):
        is_list = line == "-" or line.startswith("- ")
        words = line[1:].strip() if is_list else line
        if not words:
            found.append(Block(()))
        elif found and found[-1].lines and found[-1].is_list == is_list:
            found[-1] = Block((*found[-1].lines, words), is_list)
        else:
            found.append(Block((words,), is_list))
    return [block for block in found if block.lines]
