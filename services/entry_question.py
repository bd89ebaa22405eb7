"""The question to ask while a reading is typed: knowing only the readings before it, may it be a slip?

At the desk an answer costs a glance at the display, so that one asks far earlier than one would reject: from a chance of two
in a hundred that the reading is wrong, where another unit would make a difference that matters.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from services.fleet_rates import FleetRates
from services.forecast import distance_on
from services.language import say
from services.rates import RateState, drifted, stretch_noise
from services.reading_meanings import Meaning, Neighbour, Rider, meanings
from services.readings import ACCEPTED, Proposal, Verdict, named_apart
from services.season import DAYS_A_YEAR, season_clock
from services.timeline_costs import (
    HANDOVER_KM,
    LABEL_WEIGHTS,
    MILE,
    SCALES,
    join_weight,
    lag_years,
    rounding_km,
    skip_weight,
)
from services.units import say_distance, to_km

ASK_FROM = 0.021  # chance of being wrong; own choice: nine in ten unit slips that matter (tests/scores/timeline.py)
_MATTERS_KM, _MATTERS_SHARE = 30.0, 0.02
_NAMED_FROM = 0.004  # the question names what the other unit would be, though it is seldom the answer


@dataclass(frozen=True)
class EntryDoubt:
    """Whether to ask; how likely it is wrong; the display values (km) expected in eight cases of ten; a sentence; what else."""

    ask: bool
    p_wrong: float
    low_km: float
    high_km: float
    reason: str
    meanings: tuple[Meaning, ...]


def entry_chances(
    km: np.ndarray, day: np.ndarray, owner: np.ndarray, *, state: RateState, offset: np.ndarray, first: np.ndarray,
    fleet: FleetRates,
) -> np.ndarray:  # fmt: skip
    """Return (4, n): how likely each reading is right as typed, either slip of the unit, or nothing that fits.

    km (n,) as typed, not before state.last_day; owner: (n,) bool; state: the rider's, from the readings before; offset: km to
    add to the display for life; first: (n,) bool, no reading since the handover yet.
    """
    start = np.asarray(state.last_day, dtype=float)
    day = np.maximum(np.asarray(day, dtype=float), start)
    lag = lag_years(owner)
    clock = season_clock(fleet.months, day, state.southern) - season_clock(fleet.months, start, state.southern)
    exposure = clock + lag
    variance = drifted(state.P, (day - state.anchor_day) / DAYS_A_YEAR, fleet) + stretch_noise(exposure, fleet)
    centre, years = state.m + np.log(exposure), (day - start) / DAYS_A_YEAR
    tolerance = 2.5 + rounding_km(km) / 2 + np.where(first, HANDOVER_KM, 0.0) + lag * np.exp(state.m)
    ridden = km * SCALES[:, None] + offset - state.last_km
    weights = np.concatenate([
        join_weight(ridden, centre, variance, years, tolerance) + LABEL_WEIGHTS[:, None], skip_weight(km)[None]
    ])  # fmt: skip
    share = np.exp(weights - weights.max(axis=0))
    return share / share.sum(axis=0)


def asks(km: np.ndarray, chances: np.ndarray) -> np.ndarray:
    """Return (n,) bool: which readings to ask about. Where the other unit hardly differs there is nothing to ask."""
    matters = km * (1 - 1 / MILE) > np.maximum(_MATTERS_KM, _MATTERS_SHARE * km)
    return (1.0 - chances[0] >= ASK_FROM) & (matters | (chances[0] < 0.5))


def doubt_at_entry(
    value: float, unit: str, day: float, *, owner: bool, state: RateState, fleet: FleetRates, offset: float = 0.0,
    first: bool = False,
) -> EntryDoubt:  # fmt: skip
    """Return the doubt about one reading: `value` in `unit` ('km' or 'mi') on `day`, not before the rider's last reading.

    `state`: one machine's, from the readings before; `offset`: km to add to this display for life; `first`: nothing read yet.
    """
    km = float(to_km(value, unit))
    one = state.take(None)
    chances = entry_chances(
        np.array([km]), np.array([day]), np.array([owner]), state=one, offset=np.array([offset]),
        first=np.array([first]), fleet=fleet,
    )  # fmt: skip
    low, high = distance_on(one, np.array([max(day, float(one.last_day[0]))]), (0.1, 0.9), fleet)[0] - offset
    ask = bool(asks(np.array([km]), chances)[0])
    last = Neighbour(float(one.last_day[0]), float(one.last_km[0]), handover=first)
    rider = Rider(float(one.m[0]), float(one.P[0]), bool(one.southern[0]))
    found = (
        meanings(value, unit, max(day, last.day), owner, [last], rider, fleet, offset=offset, least=_NAMED_FROM)
        if ask
        else ()
    )
    return EntryDoubt(
        ask, float(1.0 - chances[0, 0]), float(low), float(high), _sentence(km, unit, low, high, found) if ask else "", found
    )  # fmt: skip


def with_doubt(verdict: Verdict, doubt: EntryDoubt) -> Verdict:
    """Return the verdict of judge_reading with the question put to it: still accepted, but 'please-confirm'.

    What judge_reading doubts already stays as it is.
    """
    if verdict.state != ACCEPTED.state or not doubt.ask:
        return verdict
    return Verdict(verdict.state, "please-confirm", doubt.reason, proposals_of(doubt.meanings))


def proposals_of(meanings: Sequence[Meaning]) -> tuple[Proposal, ...]:
    """Return what a reading may have meant as choices for the desk, each with a code of its own."""
    return tuple(named_apart([Proposal(meaning.code, meaning.km, meaning.words) for meaning in meanings]))


def _sentence(km: float, unit: str, low: float, high: float, found: tuple[Meaning, ...]) -> str:
    likely = f" {found[0].words[0].upper()}{found[0].words[1:]}." if found else ""
    if low <= km <= high:
        question = say("Does the display show {distance}, and in this unit?", distance=say_distance(km, unit))
        return f"{question}{likely}"
    question = say(
        "Please read again: between {low} and {high} would be expected.", low=say_distance(math.floor(low), unit),
        high=say_distance(math.ceil(high), unit),
    )  # fmt: skip
    return f"{question}{likely}"
