"""Test ride and release: which work wants a check before the trike leaves, and the lines of that check.

Work on brakes, steering, folding hinge, wheels or drive is followed by its area's lines and a test ride. The lines are
common practice, no source; they defer to the makers' instructions and to local rules, which may ask for more. What owners
may do themselves (tyre pressure, washing the chain), and measuring alone, wants no release.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from services.failures import MODES
from services.intervals import covered_tasks
from services.kinds import includes_map, task
from services.parts import PART_KINDS
from services.positions import POSITIONS

DEFERS = "The makers' instructions and local rules come first; where they ask for more, do more."
LONGEST = 200  # characters of the words of one piece of work


@dataclass(frozen=True)
class Line:
    """One line of the checklist: its code, and what must be true for it to pass."""

    code: str
    words: str


@dataclass(frozen=True)
class Area:
    """One part of the trike a rider's safety hangs on. `cautions` are for the bench, `to_owner` for who rides next."""

    code: str
    title: str
    lines: tuple[Line, ...]
    cautions: tuple[str, ...]
    to_owner: str


@dataclass(frozen=True)
class Work:
    """Something on a card, in words, and the areas it touches."""

    words: str
    areas: tuple[str, ...]


@dataclass(frozen=True)
class Demand:
    """An area that wants its release, and the work that demands it."""

    area: Area
    because: tuple[str, ...]


TEST_RIDE = Line(
    "test_ride",
    "Ridden: at walking pace first, then a short ride on safe ground. No noise, no play, nothing came loose.",
)
AREAS: dict[str, Area] = {
    area.code: area
    for area in (
        Area(
            "brakes", "Brakes",
            (
                Line("brakes_hold", "Each brake by itself holds the trike standing, lets go again and does not rub."),
                Line("brakes_stop", "At walking pace it stops straight; left and right bite alike; the parking brake holds."),
                Line("brakes_fixed", "Callipers, levers, cables and hoses are tight as the maker says; nothing leaks."),
            ),
            (
                "Test standing first, then at walking pace, before anybody rides.",
                "Rotors are hot and sharp after the test. New pads need bedding in.",
            ),
            "Try the brakes standing and at walking pace before you ride off; new pads bite better after some twenty "
            "gentle stops.",
        ),
        Area(
            "steering", "Steering",
            (
                Line("steering_free", "Turns freely from stop to stop; no cable pulls, nothing touches wheel or rider."),
                Line("steering_tight", "No play in kingpins and tie rod; lock nuts and bolts are tight as the maker says."),
                Line("steering_straight", "Runs straight with light hands at walking pace."),
            ),
            ("Play in the steering: the trike stays here until it is put right.",),
            "Turn the steering from stop to stop before you ride off; if anything feels loose, do not ride and call us.",
        ),
        Area(
            "hinge", "Folding hinge",
            (
                Line("hinge_locks", "Closes fully, its lock is home and secured, and the closed hinge has no play."),
                Line("hinge_folds", "Folded and opened once: nothing is pinched, and the lock closes again."),
            ),
            ("A hinge that is loose or cracked, or whose lock does not close: do not ride. Mind your fingers.",),
            "Look at the hinge's lock before every ride.",
        ),
        Area(
            "wheels", "Wheels, quick releases and tyres",
            (
                Line("wheels_held", "Every wheel sits home; axles and quick releases are closed as the maker says."),
                Line("wheels_run", "Wheels turn freely and true, without play, and touch nothing."),
                Line("tyres_seated", "Tyres sit evenly all round and hold a pressure within what stands on their side wall."),
            ),
            (
                "A quick release that closes without force is open.",
                "Never above the pressure on the tyre or the rim, whichever is lower.",
            ),
            "Check that the quick releases are closed and the tyres are hard before you ride off.",
        ),
        Area(
            "drive", "Drive",
            (
                Line("drive_runs", "Every gear engages under light load; the chain runs free through guides and idlers."),
                Line("drive_held", "Motor, hub axle and torque arm are tight as the maker says; the motor starts and stops "
                     "with the pedals."),
            ),
            ("Battery out while hands are at chain, cables or motor. Keep fingers and clothes off the running chain.",),
            "Try the gears and the motor on a quiet road first.",
        ),
    )
}  # fmt: skip
LINES: dict[str, Line] = {line.code: line for area in AREAS.values() for line in area.lines} | {
    TEST_RIDE.code: TEST_RIDE
}

# What the parts of a kind touch, swapped or failed. A wheel brings its rotor along; the frame carries steering and hinge.
_BY_KIND = {
    "brake": ("brakes",), "rotor": ("brakes", "wheels"), "kingpin": ("steering",), "tie_rod": ("steering",),
    "hinge": ("hinge",), "wheel": ("wheels", "brakes"), "tyre": ("wheels",), "motor": ("drive",),
    "hub_geared": ("drive", "wheels"), "chain": ("drive",), "idler": ("drive",), "shifter": ("drive",),
    "torque_arm": ("drive", "wheels"), "frame": ("steering", "hinge"),
}  # fmt: skip
_BY_TASK = {
    "brakes_check": ("brakes",), "toe_in_check": ("steering",), "steering_joints_check": ("steering",),
    "hinge_check": ("hinge",), "wheels_check": ("wheels",), "quick_releases_check": ("wheels",),
    "tyres_check": ("wheels",), "axle_check": ("wheels", "drive"), "motor_bolts_check": ("drive",),
    "motor_service": ("drive",), "motor_firmware_check": ("drive",), "hub_oil_change": ("drive",),
    "shifting_check": ("drive",), "idlers_check": ("drive",), "after_lay_up": ("brakes", "wheels"),
    "after_submersion": ("brakes", "wheels", "drive"), "after_crash": ("brakes", "steering", "hinge", "wheels"),
}  # fmt: skip


def areas_of_task(code: str) -> tuple[str, ...]:
    """Return the areas a task touches, with the smaller tasks it includes; all of them where it wants a release unsaid."""
    parts = [code, *covered_tasks([code], includes_map())]
    touched = {area for part in parts for area in _BY_TASK.get(part, ())}
    if not touched and task(code).release:
        return tuple(AREAS)
    return _in_order(touched)


def _in_order(touched: Iterable[str]) -> tuple[str, ...]:
    there = set(touched)
    return tuple(code for code in AREAS if code in there)


def task_work(code: str, place: str = "") -> Work:
    """Return a task that was done; `place` is where its part sits, said unless that is the trike itself."""
    at = f" ({place})" if place and task(code).on != "frame" else ""
    return _work(f"{task(code).title}{at}", areas_of_task(code))


def swap_work(position: str, old: str = "", new: str = "") -> Work:
    """Return a swap at a position, told with the serials that leave and come."""
    place = POSITIONS[position]
    serials = f"{old or 'empty'} → {new or 'empty'}"
    touched = {area for kind in place.part_kinds for area in _BY_KIND.get(kind, ())}
    return _work(f"Swap: {place.title}, {serials}", _in_order(touched))


def failure_work(part_kind: str, mode: str, place: str = "") -> Work:
    """Return a failure of a part: it touches what the part touches, whether or not it was swapped."""
    where = place or PART_KINDS[part_kind].title
    return _work(f"Failure: {where} {MODES.get(mode, mode)}", _in_order(_BY_KIND.get(part_kind, ())))


def _work(words: str, areas: tuple[str, ...]) -> Work:
    return Work(words[:LONGEST], areas)


def demanded(works: Iterable[Work]) -> tuple[Demand, ...]:
    """Return the areas that want their release and because of which work, in the order of the checklist."""
    because: dict[str, list[str]] = {}
    for work in works:
        for area in work.areas:
            because.setdefault(area, []).append(work.words)
    return tuple(Demand(AREAS[area], tuple(dict.fromkeys(because[area]))) for area in AREAS if area in because)


def lines_for(demands: Iterable[Demand]) -> tuple[Line, ...]:
    """Return the checklist: the lines of the areas demanded, then the test ride; nothing where nothing is demanded."""
    lines = [line for demand in demands for line in demand.area.lines]
    return (*lines, TEST_RIDE) if lines else ()


def work_of(demands: Iterable[Demand]) -> tuple[str, ...]:
    """Return all the work that demands a release, each piece once."""
    return tuple(dict.fromkeys(words for demand in demands for words in demand.because))


def uncovered(demands: Iterable[Demand], released: Iterable[str]) -> tuple[str, ...]:
    """Return the work a signed release does not speak of: done, or swapped, after it was signed."""
    covered = set(released)
    return tuple(words for words in work_of(demands) if words not in covered)
