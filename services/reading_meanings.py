"""What somebody may have meant by the digits he typed: the other unit, or one slip of the hand, each with its chance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.language import marked, say
from services.season import DAYS_A_YEAR, season_clock
from services.timeline_costs import (
    HANDOVER_KM,
    KM_AS_MILES,
    LABEL_WEIGHTS,
    MILE,
    MILES_AS_KM,
    OK,
    exposure_noise,
    join_weight,
    lag_years,
    rounding_km,
    skip_weight,
)
from services.units import say_distance, to_km

MOST_MEANINGS = 3
LEAST_CHANCE = 0.02
_SLIP_OF_HAND = math.log(0.010 / 4)  # one in a hundred readings, four kinds alike; assumption, no source
_WORDS = marked({
    "swapped": "with two digits swapped it would be {distance}", "wrong": "with one digit wrong it would be {distance}",
    "lost": "with a digit lost it would be {distance}", "km_as_miles": "as kilometres it would be {distance}",
    "miles_as_km": "as miles it would be {distance}",
    "doubled": "without the digit typed twice it would be {distance}",
})  # fmt: skip


@dataclass(frozen=True)
class Neighbour:
    """A reading that is believed: its day, its km in the same count as the doubted one, whether an owner sent it."""

    day: float
    km: float
    owner: bool = False
    handover: bool = False


@dataclass(frozen=True)
class Rider:
    """What is known of a rider: log km a season-year, its variance, whether the seasons are six months shifted."""

    rate: float
    spread: float
    southern: bool = False


@dataclass(frozen=True)
class Meaning:
    """One thing the digits may have meant: a code, the display value in km, its chance, and words for the desk."""

    code: str
    km: float
    chance: float
    words: str


def digit_slips(digits: str) -> dict[str, list[tuple[int, float]]]:
    """Return by kind of slip the numbers that one slip turns into `digits`, each with the chance of just that slip."""
    length = len(digits)
    swapped = [
        (digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :], 1 / (length - 1)) for at in range(length - 1)
    ]
    wrong = [
        (digits[:at] + other + digits[at + 1 :], 1 / (9 * length)) for at in range(length) for other in "0123456789"
    ]
    lost = [(digits[:at] + other + digits[at:], 1 / (length + 1)) for at in range(length + 1) for other in "0123456789"]
    doubled = [
        (digits[:at] + digits[at + 1 :], 1 / (length - 1))
        for at in range(length - 1) if digits[at] == digits[at + 1]
    ]  # fmt: skip
    found = {}
    for kind, slips in (("swapped", swapped), ("wrong", wrong), ("lost", lost), ("doubled", doubled)):
        chances = {int(text): chance for text, chance in slips if text != digits and (text == "0" or text[0] != "0")}
        found[kind] = sorted(chances.items())
    return found


def weigh(
    km: np.ndarray, typed: float, day: float, owner: bool, neighbours: Sequence[Neighbour], rider: Rider,
    fleet: FleetRates,
) -> np.ndarray:  # fmt: skip
    """Return how well each of `km` (k,) on `day` fits the believed readings before and after it: log densities (k,)."""
    total = np.zeros(len(km))
    for other in neighbours:
        first, last = min(day, other.day), max(day, other.day)
        clock = season_clock(fleet.months, np.array([first, last]), rider.southern)
        lag = float(lag_years(owner or other.owner))
        exposure, years = float(clock[1] - clock[0]) + lag, (last - first) / DAYS_A_YEAR
        variance = exposure_noise(exposure, years, rider.spread, fleet)
        steps = rounding_km(np.array([typed, other.km])) / 2
        tolerance = 2.0 + steps[0] + (HANDOVER_KM if other.handover else steps[1]) + lag * math.exp(rider.rate)
        ridden = km - other.km if other.day <= day else other.km - km
        total += join_weight(ridden, rider.rate + math.log(exposure), variance, years, tolerance)
    return total


def meanings(
    value: float, unit: str, day: float, owner: bool, neighbours: Sequence[Neighbour], rider: Rider, fleet: FleetRates,
    *, offset: float = 0.0, least: float = LEAST_CHANCE,
) -> tuple[Meaning, ...]:  # fmt: skip
    """Return what `value` in `unit` may have meant other than what it says, likeliest first, at most three.

    `neighbours`: the believed reading before it and, if there is one, after it.
    `offset`: km to add to this display for the count of the neighbours; `least`: the chance from which one is named.
    """
    shown = float(to_km(value, unit))
    # (code, km, log chance of such a slip, the unit to tell it in)
    options = [
        ("as_typed", shown, LABEL_WEIGHTS[OK], unit),
        ("km_as_miles", shown / MILE, LABEL_WEIGHTS[KM_AS_MILES], "km"),
        ("miles_as_km", shown * MILE, LABEL_WEIGHTS[MILES_AS_KM], "km"),
    ]
    for kind, slips in digit_slips(str(round(value))).items():
        for number, chance in slips:
            options.append((kind, float(to_km(float(number), unit)), _SLIP_OF_HAND + math.log(chance), unit))
    codes, km, before, units = zip(*options, strict=True)
    weights = weigh(np.array(km) + offset, shown, day, owner, neighbours, rider, fleet) + before
    nothing = skip_weight(shown) + _without(neighbours, rider, fleet)
    share = np.exp(np.append(weights, nothing) - max(weights.max(), nothing))
    chances = (share / share.sum()).tolist()[:-1]
    found = list(zip(chances, km, codes, units, strict=True))[1:]
    likely = sorted((one for one in found if one[0] >= least), key=lambda one: (-one[0], one[1]))[:MOST_MEANINGS]
    return tuple(
        Meaning(code, round(at, 3), chance, say(_WORDS[code], distance=say_distance(at, said_in)))
        for chance, at, code, said_in in likely
    )


def _without(neighbours: Sequence[Neighbour], rider: Rider, fleet: FleetRates) -> float:
    """How well the neighbours fit each other when the reading between them means nothing."""
    if len(neighbours) < 2:
        return 0.0
    before, after = neighbours
    return float(weigh(np.array([after.km]), after.km, after.day, after.owner, [before], rider, fleet)[0])
