"""What is drawn of wear: the bar of each reading, the band around what is expected, how far ahead, how high."""

from datetime import date
from types import MappingProxyType

import numpy as np
import pytest
from scipy.stats import norm

from services.wear_curve import AHEAD_DAYS, AHEAD_KM, EIGHTY, curve_of
from services.wear_dates import foresee
from services.wear_kinds import WEAR_KINDS
from services.wear_series import Taken, track_of

TODAY = float(date(2026, 2, 16).toordinal())
CHAIN = MappingProxyType({"links": 114, "speeds": 9, "drivetrain": "derailleur"})


def told(code, pairs, *, rated=MappingProxyType({}), context=MappingProxyType({}), began=0.0):
    """The track of (at, value) pairs, its forecast and its curve."""
    taken = [Taken(TODAY, value, context) for _, value in pairs]
    at = [place for place, _ in pairs]
    track = track_of(
        WEAR_KINDS[code], taken, rated=rated, at=at, began=began, cycles=[0.0] * len(at), renewed_on=()
    )  # fmt: skip
    found = foresee(code, track.reckoned, rated=rated, began=began, today=TODAY)
    return found, curve_of(track, found, TODAY)


def chain(*pairs):
    return told("chain_elongation_pct", pairs, rated=CHAIN)


def shock(*pairs, began=TODAY - 200, degrees=20.0):
    context = {"set_kpa": 1000.0, "temperature_c": degrees}
    return told("shock_pressure", pairs, context=context, began=began)


def test_the_bars_hold_four_fifths_of_a_normal_law():
    assert norm.cdf(EIGHTY) - norm.cdf(-EIGHTY) == pytest.approx(0.8, abs=1e-4)


def test_a_bar_is_as_wide_as_its_gauge_errs():
    found, curve = chain((1500.0, 0.33))
    (bar,) = curve.bars
    assert (bar.at, bar.value, bar.aside) == (1500.0, pytest.approx(0.33), False)
    assert bar.high - bar.value == pytest.approx(1.2816 * found.learnt.values.gauge)
    assert bar.value - bar.low == pytest.approx(1.2816 * found.learnt.values.gauge)


def test_the_band_is_the_mean_and_as_many_deviations():
    found, curve = chain((1500.0, 0.33), (2900.0, 0.62))
    mean, sd = found.learnt.wear(curve.at[None, :] / 1000)  # 114 links: 1,000 km a unit
    assert curve.mean == pytest.approx(mean[0])
    assert curve.high - curve.mean == pytest.approx(1.2816 * sd[0])
    assert (curve.low <= curve.mean).all()


def test_the_drawing_goes_as_far_as_the_limit_is_met():
    found, curve = chain((1500.0, 0.33), (2900.0, 0.62))
    assert curve.begin == 0.0
    assert found.at[2] < curve.end < found.at[2] + 200
    assert curve.likely == (found.at[0], found.at[2])
    assert curve.now is None


def test_a_worn_chain_is_drawn_a_while_on():
    _, curve = chain((2900.0, 0.62), (3800.0, 0.85))
    assert curve.likely is None
    assert curve.end == pytest.approx(3800 + 1.08 * AHEAD_KM)


def test_a_limit_beyond_what_is_looked_ahead_is_drawn_a_while_on():
    found, curve = chain((10_000.0, 0.05), (20_000.0, 0.10), (30_000.0, 0.15), (40_000.0, 0.20))
    assert np.isinf(found.at).all()
    assert curve.likely is None
    assert curve.end == pytest.approx(40_000 + 1.08 * AHEAD_KM)


def test_limits_and_readings_lie_inside_the_heights():
    found, curve = chain((1500.0, 0.33), (2900.0, 0.62), (2950.0, 1.4))
    assert [bar.aside for bar in curve.bars] == [False, False, True]
    assert curve.lowest == 0.0  # a chain is not drawn shorter than new
    assert curve.highest > max(*found.limits, *(bar.high for bar in curve.bars))


def test_pressures_stand_as_at_twenty_degrees_and_fall():
    _, curve = shock((TODAY - 60, 800), degrees=0.0)
    (bar,) = curve.bars
    # isochoric, absolute: (800 + 101.3) x 293.15 / 273.15 - 101.3 = 866.0 kPa
    assert bar.value == pytest.approx(866.0, abs=0.5)
    assert curve.mean[0] == pytest.approx(1000.0)
    assert (np.diff(curve.mean) < 0).all()
    assert (curve.low <= curve.high).all()
    assert curve.now == TODAY
    assert curve.end > TODAY


def test_a_curve_of_days_reaches_past_today_even_where_the_limit_lies_before():
    _, curve = shock((TODAY - 60, 700))
    assert curve.likely is None
    assert curve.end == pytest.approx(TODAY + 1.08 * AHEAD_DAYS)


def test_nothing_usable_is_drawn_from_what_the_fleet_tells():
    found, curve = shock((TODAY - 300, 990))
    assert found.unusable == (0,)
    assert curve.bars == ()
    assert curve.begin == TODAY - 200
