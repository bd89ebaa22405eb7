import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.wear import TooFewPoints, straight_line


def test_the_trend_of_a_chain_says_where_it_meets_its_limits():
    # least squares computed by hand: 0.05, 0.12, 0.19, 0.26 % at 0, 1,000, 2,000, 3,000 km
    line = straight_line([0, 1000, 2000, 3000], [0.05, 0.12, 0.19, 0.26])
    assert line.slope == pytest.approx(7.0e-5, rel=1e-9)
    assert line.crossing(0.75) == pytest.approx(10_000, abs=0.1)
    assert line.crossing(0.5) == pytest.approx(6428.6, abs=0.1)


@given(st.floats(-1, 1), st.floats(-10, 10), st.lists(st.integers(0, 1000), min_size=2, max_size=9, unique=True))
def test_points_on_a_line_give_that_line(slope, intercept, x):
    line = straight_line(x, [intercept + slope * at for at in x])
    assert line.slope == pytest.approx(slope, abs=1e-9)
    assert line.intercept == pytest.approx(intercept, abs=1e-6)


def test_what_does_not_wear_meets_no_limit():
    assert straight_line([0, 1000], [0.1, 0.1]).crossing(0.75) is None


@pytest.mark.parametrize("x", [[], [500], [500, 500]])
def test_measurements_at_one_distance_make_no_trend(x):
    with pytest.raises(TooFewPoints):
        straight_line(x, [0.1] * len(x))
