"""Geodesics against printed examples and against GeographicLib, to a millimetre."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from services.geodesic import distances_m

MILLIMETRE = 1e-3
COUNT = 2_000


def by_geographiclib(*degrees: np.ndarray) -> np.ndarray:
    wgs84 = Geodesic.WGS84
    return np.array([wgs84.Inverse(*map(float, pair), Geodesic.DISTANCE)["s12"] for pair in zip(*degrees, strict=True)])


def anywhere(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return np.degrees(np.arcsin(rng.uniform(-1, 1, COUNT))), rng.uniform(-180, 180, COUNT)


def far_apart(rng):
    return *anywhere(rng), *anywhere(rng)


def a_ride_apart(rng):
    lat, lon = anywhere(rng)
    return lat, lon, np.clip(lat + rng.normal(0, 1e-4, COUNT), -90, 90), lon + rng.normal(0, 1e-4, COUNT)


def nearly_opposite(rng):
    lat, lon = anywhere(rng)
    scatter = rng.normal(0, 10.0 ** rng.uniform(-6, 0.7, COUNT))
    return lat, lon, np.clip(scatter - lat, -90, 90), lon + 180 + rng.normal(0, 1.0, COUNT)


def along_the_equator(rng):
    zero = np.zeros(COUNT)
    return zero, zero, zero, rng.uniform(-180, 180, COUNT)


def opposite_on_the_equator(rng):
    zero = np.zeros(COUNT)
    beside = rng.normal(0, 10.0 ** rng.uniform(-12, -2, COUNT))
    return beside, zero, rng.choice([0.0, 1.0, -1.0], COUNT) * beside, rng.uniform(178, 182, COUNT)


def along_a_meridian(rng):
    lat, _ = anywhere(rng)
    return lat, np.zeros(COUNT), rng.uniform(-90, 90, COUNT), rng.choice([0.0, 180.0], COUNT)


@pytest.mark.parametrize(
    "pairs",
    [
        far_apart, a_ride_apart, nearly_opposite, along_the_equator, opposite_on_the_equator, along_a_meridian,
    ],
)  # fmt: skip
def test_any_pair_is_right_to_a_millimetre(pairs):
    degrees = pairs(np.random.default_rng(20260501))
    assert np.abs(distances_m(*degrees) - by_geographiclib(*degrees)).max() < MILLIMETRE


def test_poles_right_angles_and_the_date_line_are_right_to_a_millimetre():
    lat, lon = (-90.0, -45.0, 0.0, 30.0, 90.0), (-180.0, -90.0, 0.0, 90.0, 179.9, 180.0)
    degrees = np.array(np.meshgrid(lat, lon, lat, lon)).reshape(4, -1)
    assert np.abs(distances_m(*degrees) - by_geographiclib(*degrees)).max() < MILLIMETRE


def test_the_nearly_opposite_pair_of_karneys_paper():
    """C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), table 5: 19 989 832.827 610 m."""
    assert distances_m(-30.0, 0.0, 29.9, 179.8)[0] == pytest.approx(19_989_832.827_610, abs=1e-6)


def test_the_pair_of_the_australian_manual():
    """Flinders Peak to Buninyong: 54 972.271 m, GDA Technical Manual 2.4, chapter 4 (GRS80, whose flattening differs
    from WGS84's in the eighth digit)."""
    flinders = (-37 - 57 / 60 - 3.72030 / 3600, 144 + 25 / 60 + 29.52440 / 3600)
    buninyong = (-37 - 39 / 60 - 10.15610 / 3600, 143 + 55 / 60 + 35.38390 / 3600)
    assert distances_m(*flinders, *buninyong)[0] == pytest.approx(54_972.271, abs=5e-4)


def test_a_degree_of_the_equator_is_a_360th_of_its_circle():
    assert distances_m(0.0, 10.0, 0.0, 11.0)[0] == pytest.approx(2 * np.pi * 6_378_137 / 360, abs=1e-6)


def test_the_same_point_is_no_distance_away():
    assert (
        distances_m([51.5, 0.0, -90.0], [0.0, 0.0, 5.0], [51.5, 0.0, -90.0], [360.0, 0.0, 7.0]).tolist()
        == [pytest.approx(0, abs=1e-6)] * 3
    )


def test_there_and_back_is_the_same_distance():
    rng = np.random.default_rng(3)
    lat1, lon1, lat2, lon2 = far_apart(rng)
    assert distances_m(lat1, lon1, lat2, lon2) == pytest.approx(distances_m(lat2, lon2, lat1, lon1), abs=1e-4)


def test_no_pairs_give_no_distances():
    assert distances_m([], [], [], []).shape == (0,)
