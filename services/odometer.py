"""Raw odometer readings -> the distance a trike has run, whatever happened to its displays; and doubts about a reading.

A display counts per segment: life = the sum of what each display counted (common practice, no source). A swapped display
whose last value nobody knows is bridged by the riding rate and flagged as an estimate.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from services.errors import Refusal
from services.units import KM_PER_MILE, say_distance, to_km

MILE = float(KM_PER_MILE)
LARGEST_KM = 1_000_000.0
IMPOSSIBLE_KM_PER_DAY = 400.0
SUSTAINED_KM_PER_DAY = 200.0  # design rule, no source
STEP_BACK_KM = 2.0  # rounding at the display and at the desk
SLIP_FACTOR = 3.0
SLACK_KM = 60.0
UNIT_SLACK_KM = 100.0
KEEN_KM_PER_DAY = 15.0  # a rider who is hardly known yet may be a keen one
OTHER_UNIT = ("typed_in_miles", "typed_in_km")


class BadNumber(Refusal):
    """A value no display can show."""

    code = "bad-number"


class ReadingInFuture(Refusal):
    """A reading dated after now."""

    code = "reading-in-future"


class ReadingBeforeDelivery(Refusal):
    """A reading dated before the trike was handed over."""

    code = "reading-before-delivery"


class ImpossibleSpeed(Refusal):
    """More kilometres a day than anybody rides."""

    code = "impossible-speed"


@dataclass(frozen=True)
class DisplayChange:
    """A display swapped or reset on `day`. `old_final_km` is None when nobody noted what the old one showed."""

    day: float
    old_final_km: float | None
    new_start_km: float = 0.0
    estimated: bool = False


@dataclass(frozen=True)
class Timeline:
    """Life distance over time: `life_km[i]` on `days[i]`, never falling; `estimated[i]` where nobody read it."""

    days: np.ndarray = field(repr=False)
    life_km: np.ndarray = field(repr=False)
    estimated: np.ndarray = field(repr=False)

    @property
    def last_day(self) -> float:
        """The day of the last point."""
        return float(self.days[-1])

    @property
    def last_km(self) -> float:
        """Life (km) at the last point."""
        return float(self.life_km[-1])

    @property
    def reading_count(self) -> int:
        """How many points were read from a display."""
        return int(np.count_nonzero(~self.estimated)) - 1

    def life_at(self, days: np.ndarray | Sequence[float] | float, km_per_day: float = 0.0) -> np.ndarray:
        """Return life (km) on `days`: interpolated, 0 before the first point, onward at `km_per_day` after the last."""
        asked = np.asarray(days, dtype=float)
        inside = np.interp(asked, self.days, self.life_km, left=0.0)
        return inside + np.maximum(asked - self.days[-1], 0.0) * km_per_day

    def is_estimate(self, days: np.ndarray | Sequence[float] | float) -> np.ndarray:
        """Return whether life on `days` rests on an estimate: past the last reading, or beside an estimated point."""
        asked = np.asarray(days, dtype=float)
        after = np.clip(np.searchsorted(self.days, asked), 0, len(self.days) - 1)
        return (asked > self.days[-1]) | self.estimated[after]


def build_timeline(
    days: Sequence[float], display_km: Sequence[float], changes: Sequence[DisplayChange] = (), *,
    zero_day: float, zero_km: float = 0.0, km_per_day: float | None = None,
) -> Timeline:  # fmt: skip
    """Return the timeline of one trike. Rows may come in any order; the same rows give the same timeline.

    Life is 0 on `zero_day` at display value `zero_km`. `km_per_day` bridges a display whose last value is unknown; without
    it the average before the swap does.
    """
    rows = sorted(zip(map(float, days), map(float, display_km), strict=True))
    points = [(float(zero_day), 0.0, False)]
    base_life, base_display, begun = 0.0, float(zero_km), -math.inf
    for change in [*sorted(changes, key=lambda c: c.day), None]:
        ended = math.inf if change is None else change.day
        for day, km in rows:
            if begun <= day < ended:
                points.append((max(day, zero_day), base_life + km - base_display, False))
        if change is not None:
            life, estimated = _life_at_change(change, points, base_life, base_display, km_per_day)
            points.append((change.day, life, estimated))
            base_life, base_display, begun = life, change.new_start_km, change.day
    return _monotone(points)


def _life_at_change(
    change: DisplayChange,
    points: list[tuple[float, float, bool]],
    base_life: float,
    base_display: float,
    rate: float | None,
) -> tuple[float, bool]:
    if change.old_final_km is not None:
        return base_life + change.old_final_km - base_display, change.estimated
    first, last = points[0], max(points)
    span = last[0] - first[0]
    pace = rate if rate is not None else (last[1] / span if span > 0 else 0.0)
    return last[1] + pace * max(change.day - last[0], 0.0), True


def _monotone(points: list[tuple[float, float, bool]]) -> Timeline:
    """Points in time order, one a moment (the highest), never falling."""
    ordered = sorted(points, key=lambda p: (p[0], p[1]))
    days = np.array([p[0] for p in ordered])
    life = np.maximum.accumulate(np.maximum([p[1] for p in ordered], 0.0))
    estimated = np.array([p[2] for p in ordered])
    last_of_moment = np.append(np.diff(days) > 0, True)
    return Timeline(days[last_of_moment], life[last_of_moment], estimated[last_of_moment])


@dataclass(frozen=True)
class Proposal:
    """What the reading may have meant: a code, the display value in km, and words for a button."""

    code: str
    km: float
    words: str


@dataclass(frozen=True)
class Verdict:
    """'accepted', or 'suspect' with a code, a sentence for the desk, and what it may have meant."""

    state: str
    code: str = ""
    reason: str = ""
    proposals: tuple[Proposal, ...] = ()


ACCEPTED = Verdict("accepted")


def judge_reading(
    *, day: float, value: float, unit: str, now_day: float, delivered_day: float | None, readings_days: Sequence[float],
    readings_km: Sequence[float], km_per_day: float, strict: bool = True,
) -> Verdict:  # fmt: skip
    """Judge what somebody typed against the accepted readings of the same display.

    `value` in `unit` ('km' or 'mi'); days as in Timeline; `readings_km` are display values; `km_per_day` is the rider's
    rate. Raises BadNumber, ReadingInFuture, ReadingBeforeDelivery and (only when `strict`) ImpossibleSpeed.
    """
    km = _checked_km(value, unit)
    if day > now_day + 5 / 1440:
        raise ReadingInFuture("The reading lies in the future.", field="read_at", remedy="Check the date.")
    if delivered_day is not None and day < math.floor(delivered_day):
        raise ReadingBeforeDelivery(
            "The reading lies before the handover.", field="read_at", remedy="Check the date and the trike."
        )
    before, after = _neighbours(day, readings_days, readings_km)
    if before is not None and km < before[1] - STEP_BACK_KM:
        return _gone_back(day, value, unit, km, before, after, km_per_day)
    if after is not None and km > after[1] + STEP_BACK_KM:
        return _suspect(
            "above-a-later-reading",
            f"{say_distance(km)} is more than a later reading shows ({say_distance(after[1])}).",
            _meant(day, value, unit, before, after, km_per_day),
        )
    return _too_fast(day, value, unit, km, before, after, km_per_day, strict)


def _checked_km(value: float, unit: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadNumber("The reading must be a number.", field="value", remedy="Enter the digits the display shows.")
    km = float(to_km(float(value), unit))
    if not 0 <= km <= LARGEST_KM:
        raise BadNumber("A display shows between 0 and 1,000,000 km.", field="value", remedy="Check the value.")
    return km


def _neighbours(
    day: float, days: Sequence[float], km: Sequence[float]
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """The nearest accepted readings before (or at) and after `day`."""
    rows = sorted(zip(map(float, days), map(float, km), strict=True))
    before = [row for row in rows if row[0] <= day]
    after = [row for row in rows if row[0] > day]
    return (before[-1] if before else None), (after[0] if after else None)


def _suspect(code: str, reason: str, proposals: Sequence[Proposal]) -> Verdict:
    return Verdict("suspect", code, reason, tuple(proposals))


def _gone_back(
    day: float,
    value: float,
    unit: str,
    km: float,
    before: tuple[float, float],
    after: tuple[float, float] | None,
    rate: float,
) -> Verdict:
    proposals = _meant(day, value, unit, before, after, rate)
    if after is None:
        proposals.append(Proposal("display_reset", km, "the display was swapped or reset"))
    likely = f" Likely: {proposals[0].words}." if proposals else ""
    return _suspect(
        "below-the-last-reading",
        f"{say_distance(km)} is {say_distance(before[1] - km)} below the last reading ({say_distance(before[1])}).{likely}",
        proposals,
    )


def _too_fast(
    day: float, value: float, unit: str, km: float, before: tuple[float, float] | None, after: tuple[float, float] | None,
    rate: float, strict: bool,
) -> Verdict:  # fmt: skip
    if before is None:
        return ACCEPTED
    gap, step = max(day - before[0], 1.0), km - before[1]
    if step / gap > IMPOSSIBLE_KM_PER_DAY:
        proposals = _meant(day, value, unit, before, after, rate)
        words = f"{say_distance(step)} in {gap:.0f} days is {step / gap:,.0f} km a day; nobody rides more than 400."
        if strict and not proposals:
            raise ImpossibleSpeed(words, field="value", remedy="Check the value, the unit and the date.")
        return _suspect("impossible-speed", words, proposals)
    if step / gap > SUSTAINED_KM_PER_DAY and gap > 1:
        return _suspect(
            "very-fast", f"{step / gap:,.0f} km a day over {gap:.0f} days is more than most riders manage.",
            _meant(day, value, unit, before, after, rate),
        )  # fmt: skip
    proposals = _meant(day, value, unit, before, after, rate)
    if proposals and _unlike_this_rider(step, rate * gap, gap, proposals[0], before):
        return _suspect(
            "unlike-this-rider",
            f"{say_distance(step)} in {gap:.0f} days is far more than this rider's {rate:.0f} km a day. "
            f"Likely: {proposals[0].words}.",
            proposals,
        )
    return ACCEPTED


def _unlike_this_rider(step: float, expected: float, gap: float, best: Proposal, before: tuple[float, float]) -> bool:
    """Whether the step is a leap that only a slip explains, or twice the usual and four times nearer in the other unit."""
    if step > SLIP_FACTOR * max(expected, KEEN_KM_PER_DAY * gap) + SLACK_KM * math.sqrt(gap):
        return True
    misfit = abs(best.km - before[1] - expected)
    return best.code in OTHER_UNIT and step > 2 * expected + UNIT_SLACK_KM and 4 * misfit < abs(step - expected)


def _meant(
    day: float,
    value: float,
    unit: str,
    before: tuple[float, float] | None,
    after: tuple[float, float] | None,
    rate: float,
) -> list[Proposal]:
    """What else the digits may have meant, most plausible first: only what fits between the neighbours."""
    candidates = [*_other_unit(value, unit), *_digit_slips(float(to_km(value, unit)), unit)]
    fitting = [(_misfit(day, p.km, before, rate), p) for p in candidates if _fits(day, p.km, before, after, rate)]
    seen: dict[int, Proposal] = {}
    for _, proposal in sorted(fitting, key=lambda pair: pair[0]):
        seen.setdefault(round(proposal.km), proposal)
    return _named_apart(list(seen.values())[:3])


def _named_apart(proposals: list[Proposal]) -> list[Proposal]:
    """Give each proposal a code of its own: a second digit slip is digit_slip_2."""
    named, met = [], dict[str, int]()
    for proposal in proposals:
        met[proposal.code] = number = met.get(proposal.code, 0) + 1
        code = proposal.code if number == 1 else f"{proposal.code}_{number}"
        named.append(Proposal(code, proposal.km, proposal.words))
    return named


def _other_unit(value: float, unit: str) -> list[Proposal]:
    if unit == "km":
        km = value * MILE
        return [Proposal("typed_in_miles", round(km, 3), f"read in miles: {value:,.0f} mi is {say_distance(km)}")]
    return [Proposal("typed_in_km", round(float(value), 3), f"read in kilometres: {say_distance(value)}")]


def _digit_slips(km: float, unit: str) -> list[Proposal]:
    """One digit lost, doubled or added, and tenths typed as whole units."""
    shown = str(round(km / MILE if unit == "mi" else km))
    slips = {shown[:i] + shown[i + 1 :] for i in range(len(shown)) if len(shown) > 1}
    slips |= {shown[:i] + digit + shown[i:] for i in range(len(shown) + 1) for digit in "0123456789"}
    slips |= {shown[:i] + shown[i + 1] + shown[i] + shown[i + 2 :] for i in range(len(shown) - 1)}
    slips.discard(shown)
    return [
        Proposal("digit_slip", float(to_km(float(text), unit)), f"a digit slipped: {int(text):,} {unit}")
        for text in sorted(slips) if text and not text.startswith("0")
    ]  # fmt: skip


def _expected_step(day: float, before: tuple[float, float] | None, rate: float) -> float:
    return rate * max(day - before[0], 1.0) if before else 0.0


def _misfit(day: float, km: float, before: tuple[float, float] | None, rate: float) -> float:
    return abs(km - (before[1] if before else 0.0) - _expected_step(day, before, rate))


def _fits(
    day: float, km: float, before: tuple[float, float] | None, after: tuple[float, float] | None, rate: float
) -> bool:
    low = before[1] if before else 0.0
    high = after[1] if after else low + SLIP_FACTOR * _expected_step(day, before, rate) + SLACK_KM
    return low - STEP_BACK_KM <= km <= high + STEP_BACK_KM


def wheel_scale(set_diameter_mm: float, true_diameter_mm: float) -> float:
    """Return by how much a display set to another wheel over-counts: set / true (geometry)."""
    return set_diameter_mm / true_diameter_mm
