"""What a review finds, as it is kept: plain values only, so that each goes into JSON and comes back the same.

Ages and exposures in the unit of the metric (km, days, hours, cycles), rates in failures per unit; None where nothing can be
said, never NaN. Sentences are whole and fit for the desk. `study` = what one part type shows by itself; `standing` = what
follows beside all others (q, rank, verdict, action).
"""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

METRICS = {"km": "km", "days": "days", "hours": "motor hours", "cycles": "charge cycles"}

WITHOUT = "without"  # the key of the view that leaves out what is proven worse
NONE, WATCH, INSPECT, REPLACE, STOP = "none", "watch", "inspect", "replace", "stop-fitting"
ACTIONS = {  # in order of urgency
    NONE: "nothing to do",
    WATCH: "watch",
    INSPECT: "inspect at the next service",
    REPLACE: "replace by age",
    STOP: "stop fitting, inspect what is out",
}


@dataclass(frozen=True)
class Counts:
    """parts: all pieces under watch; fitted: in the field at the end; failed: pieces with a first failure; repairs: all
    failures; unknown_life: pieces whose age nobody knows (in the rate, not in the life); between: failed between two looks;
    accidents: pieces damaged by accident, which are no failures.
    """

    parts: int
    fitted: int
    failed: int
    repairs: int
    exposure: float
    unknown_life: int
    between: int
    oldest: float
    accidents: int = 0


@dataclass(frozen=True)
class Rate:
    """First failures per unit with exact 90 % limits (low None: no failure; high is then the 95 % bound); shrunk: drawn to
    sister part types of its kind, which have the rate `usual` (None: no sister).
    """

    rate: float
    low: float | None
    high: float
    shrunk: float | None = None
    shrunk_low: float | None = None
    shrunk_high: float | None = None
    usual: float | None = None
    sentence: str = ""


@dataclass(frozen=True)
class LifeFound:
    """rung: none, some, several, many (services.life_data.ladder) with what it may show, in words; pattern: early, chance,
    wear-out, cannot-tell, too-few. shape, life: of the fitted Weibull with 90 % likelihood-ratio limits, b10 and b50 too;
    None below the rung that carries them. covariance (2, 2) of ln(life) and ln(shape). wear_out_p: chance of a shape so far
    above 1 if age made no difference. gof_p: does a Weibull life fit. low_b10: with few failures, its 95 % lower limit with
    a shape borrowed from a sister (`borrowed`). mixed: where a group is proven worse, why one life for all describes neither.
    """

    rung: str
    rung_words: str
    pattern: str
    pattern_words: str
    sentence: str
    shape: float | None = None
    shape_low: float | None = None
    shape_high: float | None = None
    life: float | None = None
    life_low: float | None = None
    life_high: float | None = None
    b10: float | None = None
    b10_low: float | None = None
    b10_high: float | None = None
    b50: float | None = None
    b50_low: float | None = None
    b50_high: float | None = None
    covariance: list[list[float]] = field(default_factory=list)
    wear_out_p: float | None = None
    gof_p: float | None = None
    borrowed: float | None = None
    low_b10: float | None = None
    mixed: str = ""


@dataclass(frozen=True)
class Survival:
    """Share still good: steps (k) with 90 % limits and parts at risk, drawn up to drawn_until; rug: ages of the survivors,
    thinned to at most 200; points: the Weibull plot's (age, share failed), empty with late entries; halved: failures between
    two looks were put half-way; stretches: the likeliest curve without doing so (Turnbull), each [from, until, still good after
    it] (None: no end), empty where all ages are exact or too many were looked at.
    """

    age: list[float] = field(default_factory=list)
    at_risk: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    drawn_until: float = 0.0
    rug: list[float] = field(default_factory=list)
    points: list[list[float]] = field(default_factory=list)
    halved: int = 0
    stretches: list[list[float | None]] = field(default_factory=list)


@dataclass(frozen=True)
class Repairs:
    """Repairs of a position on a trike, by the trike's own age: mean number per position with 90 % limits, and the trend.

    trend: "getting better", "getting worse", "cannot tell", "too few to tell"; p: the larger of both tests' p, None when too few.
    """

    machines: int = 0
    repairs: int = 0
    age: list[float] = field(default_factory=list)
    watched: list[float] = field(default_factory=list)
    mean: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    trend: str = ""
    p: float | None = None
    sentence: str = ""


@dataclass(frozen=True)
class Comparison:
    """A group against the rest: dimension (batch, firmware, made_year, model, severity, part_type, maker), its group.

    expected, rest_expected: failures that either would have had if all failed alike at the same age: what the test and the
    ratio rest on; exposure is shown beside it. p: exact and two-sided; q: after all comparisons of the review; p_without: p
    without the trike that has most failures of the group (None: no trike has two). carried: pieces of it still fitted.
    """

    dimension: str
    group: str
    failed: int
    fitted: int
    exposure: float
    expected: float
    rest_failed: int
    rest_fitted: int
    rest_exposure: float
    rest_expected: float
    rate: float
    low: float
    high: float
    ratio: float | None
    ratio_low: float
    ratio_high: float | None
    p: float
    q: float | None = None
    machines: int = 0
    most_on_one: int = 0
    worst_machine: int | None = None
    p_without: float | None = None
    carried: int = 0
    mode: str = ""
    sentence: str = ""

    @property
    def is_worse(self) -> bool:
        """Whether it failed more than the rest."""
        return self.failed * self.rest_expected > self.rest_failed * self.expected


@dataclass(frozen=True)
class Month:
    """First failures in a month (its first day, ISO) and those expected with their 90 % range; complete: the month is over."""

    month: str
    seen: int
    expected: float | None
    low: int | None
    high: int | None
    complete: bool


@dataclass(frozen=True)
class EarlyWarning:
    """The last full month against what the life before it lets expect; spread: how unsure that is, on the log scale."""

    month: str
    seen: int
    expected: float
    spread: float
    chance: float | None = None
    alarm_from: int | None = None
    alarmed: bool = False
    batch: str = ""
    sentence: str = ""


@dataclass(frozen=True)
class AheadFound:
    """Failures expected of what is in the field in the next 12 months, nine in ten outcomes, and parts to hold for it."""

    expected: float
    low: int
    high: int
    hold: int
    sentence: str


@dataclass(frozen=True)
class Machines:
    """On how many trikes the failures lie, the most on one and which: a bad machine or rider can look like a bad part."""

    failures: int
    machines: int
    most_on_one: int
    worst_machine: int | None
    p: float | None
    sentence: str


@dataclass(frozen=True)
class View:
    """A part of the lives asked alone, told like the whole: one mode ("mode:leakage"), one batch ("batch:VN38-24B"), or all but
    the groups that are proven worse ("without").
    """

    key: str
    title: str
    counts: Counts
    rate: Rate
    life: LifeFound
    survival: Survival


@dataclass(frozen=True)
class Study:
    """What one part type shows in one metric by itself. Slow to reckon, kept as long as its lives stay the same."""

    counts: Counts
    rate: Rate
    life: LifeFound
    survival: Survival
    repairs: Repairs
    comparisons: list[Comparison]
    months: list[Month]
    warning: EarlyWarning | None
    ahead: AheadFound | None
    machines: Machines
    views: list[View] = field(default_factory=list)


@dataclass(frozen=True)
class Reason:
    """Why something is said: kind (batch, firmware, ..., part_type, maker, wear-out, warning, trend), p, q, whole sentence."""

    kind: str
    group: str
    p: float
    q: float | None
    sentence: str


@dataclass(frozen=True)
class Finding:
    """A part type's place in the review. q: the smallest over its reasons, None without one; replace_at: in the metric's unit."""

    rank: int
    action: str
    verdict: str
    q: float | None
    p: float | None
    reasons: list[Reason]
    replace_at: float | None = None
    do: str = ""


def as_plain(found: Any) -> Any:
    """Return a dataclass as plain values for JSON: numbers rounded to eight digits that count, NaN and infinity as None."""
    return _plain(asdict(found))


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [_plain(inner) for inner in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.8g}") if math.isfinite(value) else None
    return value


def comparison_of(kept: Mapping[str, Any]) -> Comparison:
    """Return the comparison that as_plain gave."""
    return Comparison(**kept)


def study_of(kept: Mapping[str, Any]) -> Study:
    """Return the study that as_plain gave, without what it got beside the others: sisters are compared anew each time."""
    own = [comparison_of(made) for made in kept["comparisons"] if made["dimension"] not in ("part_type", "maker")]
    return Study(
        counts=Counts(**kept["counts"]),
        rate=Rate(**kept["rate"]),
        life=LifeFound(**kept["life"]),
        survival=Survival(**kept["survival"]),
        repairs=Repairs(**kept["repairs"]),
        comparisons=own,
        months=[Month(**month) for month in kept["months"]],
        warning=EarlyWarning(**kept["warning"]) if kept["warning"] else None,
        ahead=AheadFound(**kept["ahead"]) if kept["ahead"] else None,
        machines=Machines(**kept["machines"]),
        views=[_view_of(view) for view in kept["views"] if view["key"] != WITHOUT],
    )


def _view_of(kept: Mapping[str, Any]) -> View:
    return View(
        kept["key"], kept["title"], Counts(**kept["counts"]), Rate(**kept["rate"]), LifeFound(**kept["life"]),
        Survival(**kept["survival"]),
    )  # fmt: skip
