"""Doubts about an odometer reading: what somebody typed, judged against the accepted readings of the same display.

Doubtful readings are kept and asked about, with what the digits may have meant; nothing is put right unasked.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.errors import Refusal
from services.language import say, say_many
from services.units import KM_PER_MILE, say_distance, to_km

MILE = float(KM_PER_MILE)
LARGEST_KM = 1_000_000.0
IMPOSSIBLE_KM_PER_DAY = 400.0
SUSTAINED_KM_PER_DAY = 200.0  # design rule, no source
CLOCK_SKEW_DAYS = 5 / 1440
SLIP_FACTOR = 3.0
SLACK_KM = 60.0
UNIT_SLACK_KM = 100.0
MOST_PROPOSALS = 3
KEEN_KM_PER_DAY = 15.0  # a rider who is hardly known yet may be a keen one
OTHER_UNIT = ("typed_in_miles", "typed_in_km")
Reading = tuple[float, float]  # day, display value in km


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


@dataclass(frozen=True)
class Typed:
    """What was typed, with its neighbours among the accepted readings and the rider's rate."""

    day: float
    value: float
    unit: str
    km: float
    before: Reading | None
    after: Reading | None
    rate: float

    @property
    def gap(self) -> float:
        """Days since the reading before, at least one: two readings of a day are no average."""
        return max(self.day - self.before[0], 1.0) if self.before else 1.0

    @property
    def floor_km(self) -> float:
        """What the display showed before."""
        return self.before[1] if self.before else 0.0

    @property
    def step(self) -> float:
        """km since the reading before."""
        return self.km - self.floor_km

    @property
    def expected(self) -> float:
        """km this rider would have run in the gap."""
        return self.rate * self.gap if self.before else 0.0

    @property
    def whole(self) -> float:
        """One unit of the display in km: displays cut to whole units, desks round."""
        return float(to_km(1.0, self.unit))

    def say(self, km: float) -> str:
        """A distance in the unit that was typed."""
        return say_distance(km, self.unit)


def judge_reading(
    *, day: float, value: float, unit: str, now_day: float, delivered_day: float | None, readings_days: Sequence[float],
    readings_km: Sequence[float], km_per_day: float, strict: bool = True, zero_km: float | None = None,
) -> Verdict:  # fmt: skip
    """Judge what somebody typed against the accepted readings of the same display.

    `value` in `unit` ('km' or 'mi'); days as in Timeline; `readings_km` are display values; `km_per_day` is the rider's
    rate; `zero_km` is what the display showed on `delivered_day`, for the first reading after the handover. Raises
    BadNumber, ReadingInFuture, ReadingBeforeDelivery and (only when `strict`) ImpossibleSpeed.
    """
    km = _checked_km(value, unit)
    if day > now_day + CLOCK_SKEW_DAYS:
        raise ReadingInFuture(say("The reading lies in the future."), field="read_at", remedy=say("Check the date."))
    if delivered_day is not None and day < math.floor(delivered_day):
        raise ReadingBeforeDelivery(
            say("The reading lies before the handover."), field="read_at", remedy=say("Check the date and the trike.")
        )
    before, after = _neighbours(day, readings_days, readings_km)
    if before is None and zero_km is not None and delivered_day is not None:
        before = (delivered_day, zero_km)
    typed = Typed(day, value, unit, km, before, after, km_per_day)
    if typed.step <= -typed.whole:
        return _gone_back(typed)
    if after is not None and km - after[1] >= typed.whole:
        told = {"distance": typed.say(km), "later": typed.say(after[1])}
        words = say("{distance} is more than a later reading shows ({later}).", **told)
        return Verdict("suspect", "above-a-later-reading", words, tuple(_meant(typed)))
    return _too_fast(typed, strict) if before is not None else ACCEPTED


def _checked_km(value: float, unit: str) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or (isinstance(value, float) and math.isnan(value))
    ):
        raise BadNumber(
            say("The reading must be a number."), field="value", remedy=say("Enter the digits the display shows.")
        )
    # compared before it is converted: a whole number of 400 digits is no float
    if not 0 <= value <= LARGEST_KM or to_km(float(value), unit) > LARGEST_KM:
        raise BadNumber(
            say("A display shows between 0 and 1,000,000 km."), field="value", remedy=say("Check the value.")
        )
    return float(to_km(float(value), unit))


def _neighbours(day: float, days: Sequence[float], km: Sequence[float]) -> tuple[Reading | None, Reading | None]:
    """The nearest accepted readings before (or at) and after `day`."""
    rows = sorted(zip(map(float, days), map(float, km), strict=True))
    before = [row for row in rows if row[0] <= day]
    after = [row for row in rows if row[0] > day]
    return (before[-1] if before else None), (after[0] if after else None)


def _gone_back(typed: Typed) -> Verdict:
    proposals = _meant(typed)
    likely = _likely(proposals)
    if typed.after is None:
        proposals.append(Proposal("display_reset", typed.km, say("the display was swapped or reset")))
    words = say(
        "{distance} is {less} below the last reading ({last}).", distance=typed.say(typed.km),
        less=typed.say(-typed.step), last=typed.say(typed.floor_km),
    )  # fmt: skip
    return Verdict("suspect", "below-the-last-reading", f"{words}{likely}", tuple(proposals))


def _likely(proposals: Sequence[Proposal]) -> str:
    return f" {say('Likely: {meaning}.', meaning=proposals[0].words)}" if proposals else ""


def _too_fast(typed: Typed, strict: bool) -> Verdict:
    daily, proposals = typed.step / typed.gap, _meant(typed)
    told = {
        "distance": typed.say(typed.step), "daily": typed.say(daily), "usual": typed.say(typed.rate),
        "most": typed.say(IMPOSSIBLE_KM_PER_DAY), "days": say_many("{number} day", "{number} days", round(typed.gap)),
    }  # fmt: skip
    if daily > IMPOSSIBLE_KM_PER_DAY:
        words = say("{distance} in {days} is {daily} a day; nobody rides more than {most}.", **told)
        if strict:
            remedy = f"{say('Check the value, the unit and the date.')}{_likely(proposals)}"
            raise ImpossibleSpeed(words, field="value", remedy=remedy)
        return Verdict("suspect", "impossible-speed", words, tuple(proposals))
    if daily > SUSTAINED_KM_PER_DAY and typed.gap > 1:
        words = say("{daily} a day over {days} is more than most riders manage.", **told)
        return Verdict("suspect", "very-fast", words, tuple(proposals))
    if proposals and _unlike_this_rider(typed, proposals[0]):
        if typed.step > typed.expected:
            words = say("{distance} in {days} is far more than this rider's {usual} a day.", **told)
        else:
            words = say("{distance} in {days} is far less than this rider's {usual} a day.", **told)
        return Verdict("suspect", "unlike-this-rider", f"{words}{_likely(proposals)}", tuple(proposals))
    return ACCEPTED


def _unlike_this_rider(typed: Typed, best: Proposal) -> bool:
    """Whether only a slip explains the leap, or the step is off by far and four times nearer in the other unit."""
    step, expected = typed.step, typed.expected
    if step > SLIP_FACTOR * max(expected, KEEN_KM_PER_DAY * typed.gap) + SLACK_KM * math.sqrt(typed.gap):
        return True
    far = step > 2 * expected + UNIT_SLACK_KM or SLIP_FACTOR * step + UNIT_SLACK_KM < expected
    return far and best.code in OTHER_UNIT and 4 * _misfit(typed, best.km) < abs(step - expected)


def _meant(typed: Typed) -> list[Proposal]:
    """What else the digits may have meant, most plausible first: only what fits between the neighbours."""
    candidates = [_other_unit(typed), *_digit_slips(typed), *_trip_counter(typed)]
    fitting = sorted((p for p in candidates if _fits(typed, p.km)), key=lambda p: _misfit(typed, p.km))
    seen: dict[int, Proposal] = {}
    for proposal in fitting:
        seen.setdefault(round(proposal.km), proposal)
    return named_apart(list(seen.values())[:MOST_PROPOSALS])


def named_apart(proposals: list[Proposal]) -> list[Proposal]:
    """Give each proposal a code of its own: a second digit slip is digit_slip_2."""
    named, met = [], dict[str, int]()
    for proposal in proposals:
        met[proposal.code] = number = met.get(proposal.code, 0) + 1
        code = proposal.code if number == 1 else f"{proposal.code}_{number}"
        named.append(Proposal(code, proposal.km, proposal.words))
    return named


def _other_unit(typed: Typed) -> Proposal:
    if typed.unit == "km":
        km = typed.value * MILE
        words = say("read in miles: {miles:,.0f} mi is {distance}", miles=typed.value, distance=say_distance(km))
        return Proposal("typed_in_miles", round(km, 3), words)
    words = say("read in kilometres: {distance}", distance=say_distance(typed.value))
    return Proposal("typed_in_km", round(float(typed.value), 3), words)


def _digit_slips(typed: Typed) -> list[Proposal]:
    """One digit lost, doubled, added or swapped with its neighbour, and tenths typed as whole units: those that fit."""
    shown = str(round(typed.value))
    slips = {shown[:i] + shown[i + 1 :] for i in range(len(shown))}
    slips |= {shown[:i] + digit + shown[i:] for i in range(len(shown) + 1) for digit in "0123456789"}
    slips |= {shown[:i] + shown[i + 1] + shown[i] + shown[i + 2 :] for i in range(len(shown) - 1)}
    slips.discard(shown)
    meant = [(float(to_km(float(text), typed.unit)), int(text)) for text in sorted(slips) if text[:1] not in {"", "0"}]
    return [
        Proposal("digit_slip", km, say("a digit slipped: {number:,} {unit}", number=number, unit=typed.unit))
        for km, number in meant if _fits(typed, km)
    ]  # fmt: skip


def _trip_counter(typed: Typed) -> list[Proposal]:
    """The distance of the day instead of the whole, where the reading fell back."""
    if typed.step >= 0 or typed.km == 0:
        return []
    km = round(typed.floor_km + typed.km, 3)
    return [Proposal("trip_counter", km, say("read from the trip counter: {distance} in all", distance=typed.say(km)))]


def _misfit(typed: Typed, km: float) -> float:
    return abs(km - typed.floor_km - typed.expected)


def _fits(typed: Typed, km: float) -> bool:
    high = typed.after[1] if typed.after else typed.floor_km + SLIP_FACTOR * typed.expected + SLACK_KM
    return typed.floor_km - typed.whole < km < high + typed.whole
