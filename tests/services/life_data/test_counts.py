"""What no method of the room may answer with a number: it would be NaN, or a limit that means nothing."""

import pytest

from services.life_data.counts import BadCounts, tail_of, z_of
from services.life_data.few_failures import (
    rate_limits,
    rate_upper,
    reliability_shown,
    share_limits,
    share_upper,
    success_run,
    weibayes,
)
from services.life_data.groups import ratio_limits, shrunk_rates
from services.life_data.lives import observed
from services.life_data.survival import kaplan_meier, nelson_aalen
from services.life_data.trend import gap_factors
from services.life_data.warning import likely_range
from services.life_data.weibull import fit
from services.life_data.weibull_limits import fisher_limits, likelihood_limits

NAN = float("nan")
LIVES = observed([100, 200, 300], [1, 1, 0])


def test_a_confidence_is_shared_by_both_sides():
    assert tail_of(0.9) == pytest.approx(0.05)
    assert z_of(0.95) == pytest.approx(1.959963984540054)  # tables of the normal law


@pytest.mark.parametrize("confidence", [0, 1, 1.5, -0.1, NAN, 95])
@pytest.mark.parametrize(
    "asked",
    [
        lambda c: rate_limits(1, 100, confidence=c),
        lambda c: rate_upper(1, 100, confidence=c),
        lambda c: share_limits(1, 10, confidence=c),
        lambda c: success_run(0.9, confidence=c),
        lambda c: reliability_shown(22, confidence=c),
        lambda c: weibayes(LIVES, 2.0, confidence=c),
        lambda c: kaplan_meier(LIVES, confidence=c),
        lambda c: nelson_aalen(LIVES, confidence=c),
        lambda c: fisher_limits(fit(LIVES), "shape", confidence=c),
        lambda c: likelihood_limits(fit(LIVES), "shape", confidence=c),
        lambda c: ratio_limits(1, 100, 2, 100, confidence=c),
        lambda c: shrunk_rates([1, 2], [100, 100], confidence=c),
        lambda c: gap_factors(5, confidence=c),
        lambda c: likely_range(3.0, confidence=c),
    ],
)
def test_a_confidence_outside_0_and_1_is_refused_by_every_method(asked, confidence):
    with pytest.raises(BadCounts) as refusal:
        asked(confidence)
    assert refusal.value.field == "confidence"


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        (lambda: rate_limits(-1, 100), "failures"),
        (lambda: rate_limits(NAN, 100), "failures"),
        (lambda: rate_limits(1, 0), "exposure"),
        (lambda: rate_upper(1, NAN), "exposure"),
        (lambda: share_upper(11, 10), "failures"),
        (lambda: share_limits(11, 10), "failures"),
        (lambda: reliability_shown(0), "exposure"),
        (lambda: weibayes(LIVES, 0.0), "shape"),
    ],
)
def test_what_few_failures_cannot_rest_on_is_named(asked, field):
    with pytest.raises(BadCounts) as refusal:
        asked()
    assert refusal.value.field == field
