"""Wear per measured quantity: axis, shape, shipped fleet values with their source, limits, and the scale wear is reckoned on.

Limits are those of services/kinds. Shipped values only start a fleet: services/wear_fit.py replaces them.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from services.kinds import battery_health, brakes, chain_wear, elastomers, shock_air
from services.wear_model import SHAPES, Shape, Values

BICYCLE_LINKS = 114
FINEST_PCT = 0.015  # tension and dirt (assumption, no source)
KM_PER_UNIT = 1000.0
DAYS_PER_YEAR = 365.25
DAYS_PER_LEAK_UNIT = 100.0
TOP_UP_WARN_SHARE = 0.90  # of the set pressure (common practice, no source)
NEW_PAD_MM = 2.5  # where the catalogue does not say (common practice, no source)
ROTOR_WEAR_MM = 0.3  # new above minimum: 1.8 against 1.5 (rotor maker's page; 1.8 from memory)
NEW_TREAD_MM, TREAD_LIMIT_MM, TREAD_WARN_MM = 2.0, 0.5, 0.8  # common practice, no source
WARN_SHARE = 0.7  # of the way to the limit, where the trade names no warning (common practice, no source)

Facts = Mapping[str, Any]


@dataclass(frozen=True)
class Reading:
    """One measurement of a part: `at` is life km of the part or a day (an ordinal), as the kind's axis is.

    value in the quantity's unit, or `between` (low, high) of a go/no-go gauge, either of them may be infinite. context as
    noted at the bench. cycles: charge cycles since new. renewed: right after it the part was renewed or set anew.
    """

    at: float
    value: float | None = None
    between: tuple[float, float] | None = None
    context: Facts = field(default_factory=dict)
    cycles: float = 0.0
    renewed: bool = False

    @property
    def ends(self) -> tuple[float, float]:
        """(low, high) in the quantity's unit: equal for a number. Raises ValueError when neither is given."""
        if self.between is not None:
            return self.between
        if self.value is None:
            raise ValueError("a reading has a value or lies between two")
        return self.value, self.value


@dataclass(frozen=True)
class WearKind:
    """How one quantity wears.

    axis: 'km' or 'days'; per(rated) is how many of them make one unit of the model's axis. wear(value, rated, context) is
    the model's scale, which rises with wear; shown(wear, rated, context) undoes it (pressures at 20 C). limits(rated, context):
    (warn, replace) as shown.
    cap: how far ahead (units of u) is looked. needs: what must be rated or noted beside. rise: a value that much higher
    than the one before tells of a new part. noise(context): standard deviation of one reading, or None for the fleet's.
    holds: what is noted beside once and holds until noted again. renewed_by: tasks after which it begins anew.
    """

    code: str
    axis: str
    shape: Shape
    shipped: Values
    cap: float
    say: str
    limits: Callable[[Facts, Facts], tuple[float, float]]
    per: Callable[[Facts], float]
    wear: Callable[[float, Facts, Facts], float] = lambda value, rated, context: value
    shown: Callable[[float, Facts, Facts], float] = lambda wear, rated, context: wear
    needs: tuple[str, ...] = ()
    rise: float = math.inf
    noise: Callable[[Facts], float | None] = lambda context: None
    holds: tuple[str, ...] = ()
    renewed_by: tuple[str, ...] = ()
    caution: str = ""

    def wear_limits(self, rated: Facts, context: Facts) -> tuple[float, float]:
        """Return (warn, replace) on the model's scale, pressures as they stand at 20 C."""
        at_20 = {**context, "temperature_c": shock_air.REFERENCE_C}
        warn, worn = (self.wear(limit, rated, at_20) for limit in self.limits(rated, context))
        return warn, worn

    def lacks(self, rated: Facts, context: Facts) -> tuple[str, ...]:
        """Return what must be known to reckon with a reading and is not."""
        return tuple(name for name in self.needs if not (rated.get(name) or name in context))


def _years(rated: Facts) -> float:
    return DAYS_PER_YEAR


def _km(rated: Facts) -> float:
    return KM_PER_UNIT


def chain_km_per_unit(rated: Facts) -> float:
    """Return 1,000 km for 114 links; longer chains in proportion: each joint bends less often per km (own derivation)."""
    return KM_PER_UNIT * float(rated.get("links") or BICYCLE_LINKS) / BICYCLE_LINKS


def chain_noise(context: Facts) -> float | None:
    """Return the standard deviation (%) of a rule over the pitches noted: half of what it reads to, at least 0.015 %."""
    pitches = int(context.get("pitches") or 0)
    return max(chain_wear.resolution_pct(chain_wear.RULE_READS_MM, pitches) / 2, FINEST_PCT) if pitches else None


def _chain_limits(rated: Facts, context: Facts) -> tuple[float, float]:
    limit = chain_wear.limit_pct(rated)
    return chain_wear.WARN_SHARE * limit, limit


def leak(value: float, rated: Facts, context: Facts) -> float:
    """Return -ln(gauge pressure at 20 C / set pressure): it grows evenly, as what leaks goes with the gauge pressure."""
    at_20 = shock_air.normalised_kpa(value, float(context["temperature_c"]))
    return -math.log(max(at_20, 1.0) / float(context["set_kpa"]))


def _pressure_share(wear: float, rated: Facts, context: Facts) -> float:
    return float(context["set_kpa"]) * math.exp(-wear)


def _pressure_limits(rated: Facts, context: Facts) -> tuple[float, float]:
    set_kpa = float(context["set_kpa"])
    return TOP_UP_WARN_SHARE * set_kpa, shock_air.LOW_SHARE * set_kpa


def _thickness(new: Callable[[Facts], float]) -> dict[str, Callable[[float, Facts, Facts], float]]:
    """What is gone of the new thickness (mm), and back."""
    back = lambda amount, rated, context: new(rated) - amount  # noqa: E731
    return {"wear": back, "shown": back}


def _new_pad(rated: Facts) -> float:
    return float(rated.get("new_pad_mm") or NEW_PAD_MM)


def _new_rotor(rated: Facts) -> float:
    return float(rated.get("min_rotor_mm") or brakes.ROTOR_LIMIT_MM) + ROTOR_WEAR_MM


def _rotor_limits(rated: Facts, context: Facts) -> tuple[float, float]:
    return _new_rotor(rated) - WARN_SHARE * ROTOR_WEAR_MM, _new_rotor(rated) - ROTOR_WEAR_MM


def _hardness_limits(rated: Facts, context: Facts) -> tuple[float, float]:
    new, drift = float(rated["shore_a"]), elastomers.HARDNESS_DRIFT
    return new + WARN_SHARE * drift, new + drift


def _height_limits(rated: Facts, context: Facts) -> tuple[float, float]:
    new, share = float(context["new_height_mm"]), elastomers.HEIGHT_LOSS_LIMIT_PCT / 100
    return new * (1 - WARN_SHARE * share), new * (1 - share)


def _battery_limits(rated: Facts, context: Facts) -> tuple[float, float]:
    full = float(rated["rated_wh"]) / 100
    return battery_health.WARN_PCT * full, battery_health.REPLACE_PCT * full


_ALL = (
    WearKind(
        "chain_elongation_pct", "km", SHAPES["straight"],
        Values((0.0, 0.11), (0.02, 0.045), 0.012, 0.025,
               source="0.5 % after 3,000 to 5,000 km on 114 links (encyclopedia text); spread: assumption, no source"),
        60.0, "{:.2f} %", _chain_limits, chain_km_per_unit, noise=chain_noise,
    ),
    WearKind(
        "shock_pressure", "days", SHAPES["leak"],
        Values((0.10,), (0.06,), 0.006, 0.015, source="no published rate found: assumption, no source"),
        15.0, "{:,.0f} kPa", _pressure_limits, lambda rated: DAYS_PER_LEAK_UNIT, leak, _pressure_share,
        needs=("temperature_c", "set_kpa"), holds=("set_kpa",),
        renewed_by=("shock_air_check", "shock_air_can_service", "shock_full_service"),  # each sets the air anew
    ),
    WearKind(
        "hardness_shore_a", "days", SHAPES["logarithm"],
        Values((0.0, 3.0), (1.2, 1.2), 0.3, 1.5, source="assumption, no source"),
        25.0, "{:.0f} Shore A", _hardness_limits, _years,
        lambda value, rated, context: value - float(rated["shore_a"]),
        lambda wear, rated, context: wear + float(rated["shore_a"]), needs=("shore_a",),
    ),
    WearKind(
        "compression_set_pct", "days", SHAPES["logarithm"],
        Values((0.0, 6.0), (1.5, 3.0), 0.5, 1.5, source="assumption, no source"),
        25.0, "{:.1f} %", lambda rated, context: (WARN_SHARE * elastomers.SET_LIMIT_PCT, elastomers.SET_LIMIT_PCT), _years,
    ),
    WearKind(
        "free_height_mm", "days", SHAPES["logarithm"],
        Values((0.0, 1.5), (0.4, 0.75), 0.15, 0.6, source="assumption, no source"),
        25.0, "{:.1f} mm", _height_limits, _years,
        lambda value, rated, context: elastomers.compression_set_a(float(context["new_height_mm"]), value),
        lambda wear, rated, context: float(context["new_height_mm"]) * (1 - wear / 100), needs=("new_height_mm",),
        holds=("new_height_mm",),
    ),
    WearKind(
        "battery_capacity_wh", "days", SHAPES["battery"],
        Values((4.0, 2.0), (1.6, 0.8), 0.3, 1.5,
               source="80 % after some 500 cycles (printed); growth with the root of time (electrode film note)"),
        10.0, "{:.0f} Wh", _battery_limits, _years,
        lambda value, rated, context: 100 - battery_health.state_of_health_pct(value, float(rated["rated_wh"])),
        lambda wear, rated, context: float(rated["rated_wh"]) * (1 - wear / 100), needs=("rated_wh",),
        caution="Below 80 % the fall can turn sudden; nothing is told beyond ten years.",
    ),
    WearKind(
        "pad_mm", "km", SHAPES["straight"],
        Values((0.0, 0.4), (0.2, 0.25), 0.05, 0.1, source="common practice, no source"),
        60.0, "{:.1f} mm", lambda rated, context: (brakes.warn_pad_mm(rated), brakes.PAD_LIMIT_MM), _km,
        **_thickness(_new_pad), rise=0.5,
    ),
    WearKind(
        "rotor_mm", "km", SHAPES["straight"],
        Values((0.0, 0.02), (0.03, 0.015), 0.005, 0.01, source="common practice, no source"),
        120.0, "{:.2f} mm", _rotor_limits, _km, **_thickness(_new_rotor), rise=0.1,
    ),
    WearKind(
        "tyre_tread_mm", "km", SHAPES["straight"],
        Values((0.0, 0.3), (0.2, 0.15), 0.03, 0.15, source="common practice, no source"),
        60.0, "{:.1f} mm", lambda rated, context: (TREAD_WARN_MM, TREAD_LIMIT_MM), _km,
        **_thickness(lambda rated: float(rated.get("new_tread_mm") or NEW_TREAD_MM)), rise=0.5,
    ),
)  # fmt: skip
WEAR_KINDS: dict[str, WearKind] = {kind.code: kind for kind in _ALL}
