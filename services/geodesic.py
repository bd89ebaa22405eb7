"""The shortest way between points on the Earth (WGS84), many pairs at once.

Ordinary pairs by Vincenty's iteration (Survey Review 23, 1975); where it does not settle, on nearly opposite sides of the
Earth, by bisecting the azimuth on the auxiliary sphere (Karney, J. Geodesy 87, 2013, sections 2 to 4). Checked against
GeographicLib to a millimetre.
"""

import numpy as np

A_M = 6_378_137.0  # WGS84 (NIMA TR8350.2)
FLATTENING = 1 / 298.257223563
B_M = A_M * (1 - FLATTENING)
SECOND_ECCENTRICITY2 = (A_M**2 - B_M**2) / B_M**2
MOST_ROUNDS = 20
SETTLED_RAD = 1e-13  # 0.6 micrometres at the equator
OPPOSITE_RAD = np.radians(170)  # from here on the iteration is not trusted
BISECTIONS = 120  # next to the equator the azimuth is due east to many digits
HARDLY_SOUTH_RAD = 1e-20
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)


def distances_m(lat1: np.ndarray, lon1: np.ndarray, lat2: np.ndarray, lon2: np.ndarray) -> np.ndarray:
    """Return (n,) the length in metres of the geodesic between each pair of points, given in degrees."""
    lat1, lon1, lat2, lon2 = (np.atleast_1d(np.asarray(degrees, dtype=float)) for degrees in (lat1, lon1, lat2, lon2))
    u1, u2 = _reduced(lat1), _reduced(lat2)
    turn = np.radians(np.abs((lon2 - lon1 + 180.0) % 360.0 - 180.0))
    metres, settled = _vincenty(u1, u2, turn)
    far = ~settled
    if far.any():
        metres[far] = _bisected(u1[far], u2[far], turn[far])
    return metres


def _reduced(latitude: np.ndarray) -> np.ndarray:
    """Reduced latitude (rad) of a latitude in degrees."""
    lat = np.radians(latitude)
    return np.arctan2((1 - FLATTENING) * np.sin(lat), np.cos(lat))


def _vincenty(u1: np.ndarray, u2: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Metres by Vincenty's equations 13 to 19, and where they can be trusted."""
    sines, cosines = np.sin(u1) * np.sin(u2), np.cos(u1) * np.cos(u2)
    on_sphere, moved = turn.copy(), np.ones_like(turn)
    for _ in range(MOST_ROUNDS):
        across = np.cos(u2) * np.sin(on_sphere)
        along = np.cos(u1) * np.sin(u2) - np.sin(u1) * np.cos(u2) * np.cos(on_sphere)
        sin_arc, cos_arc = np.hypot(across, along), sines + cosines * np.cos(on_sphere)
        arc = np.arctan2(sin_arc, cos_arc)
        sin_azimuth = np.divide(
            cosines * np.sin(on_sphere), sin_arc, out=np.zeros_like(arc), where=sin_arc > 0
        )  # at the equator; points that coincide have none
        cos2_azimuth = np.maximum(1 - sin_azimuth**2, 0.0)
        middle = cos_arc - np.divide(2 * sines, cos2_azimuth, out=2 * sines, where=cos2_azimuth > 0)
        c = FLATTENING / 16 * cos2_azimuth * (4 + FLATTENING * (4 - 3 * cos2_azimuth))
        bent = arc + c * sin_arc * (middle + c * cos_arc * (2 * middle**2 - 1))
        fresh = turn + (1 - c) * FLATTENING * sin_azimuth * bent
        moved, on_sphere = np.abs(fresh - on_sphere), fresh
        if (moved <= SETTLED_RAD).all():
            break
    return _arc_metres(arc, sin_arc, cos_arc, middle, cos2_azimuth), (moved <= SETTLED_RAD) & (arc < OPPOSITE_RAD)


def _arc_metres(
    arc: np.ndarray, sin_arc: np.ndarray, cos_arc: np.ndarray, middle: np.ndarray, cos2_azimuth: np.ndarray
) -> np.ndarray:
    """Metres of an arc: Vincenty's series in the square of the second eccentricity."""
    k2 = cos2_azimuth * SECOND_ECCENTRICITY2
    a = 1 + k2 / 16384 * (4096 + k2 * (-768 + k2 * (320 - 175 * k2)))
    b = k2 / 1024 * (256 + k2 * (-128 + k2 * (74 - 47 * k2)))
    third = b / 6 * middle * (4 * sin_arc**2 - 3) * (4 * middle**2 - 3)
    return B_M * a * (arc - b * sin_arc * (middle + b / 4 * (cos_arc * (2 * middle**2 - 1) - third)))


def _bisected(u1: np.ndarray, u2: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Metres where the points are nearly opposite: the azimuth at the point nearer a pole is found by halving.

    With that point in the south, the longitude reached grows with the azimuth from 0 to a half turn. The azimuth is counted
    from due east, where numbers are finest: along the equator all geodesics but one leave it at once.
    """
    swapped = np.abs(u1) < np.abs(u2)
    start, end = np.where(swapped, u2, u1), np.where(swapped, u1, u2)
    end = np.where(start > 0, -end, end)
    start = np.minimum(-np.abs(start), -HARDLY_SOUTH_RAD)
    low, high = np.full_like(turn, -np.pi / 2), np.full_like(turn, np.pi / 2)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        short = _followed(start, end, middle)[0] < turn
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return _followed(start, end, (low + high) / 2)[1]


def _followed(start: np.ndarray, end: np.ndarray, south: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Longitude (rad) and metres of the geodesic that leaves reduced latitude `start`, `south` of due east, up to `end`."""
    sin_start, cos_start = np.sin(start), np.cos(start)
    sin_end = np.sin(end)
    sin0 = np.cos(south) * cos_start  # sine of the azimuth at the equator
    north1 = -np.sin(south) * cos_start
    north2 = np.sqrt(np.maximum(north1**2 + (sin_start - sin_end) * (sin_start + sin_end), 0.0))
    arc1, arc2 = np.arctan2(sin_start, north1), np.arctan2(sin_end, north2)
    on_sphere = np.arctan2(sin0 * sin_end, north2) - np.arctan2(sin0 * sin_start, north1)
    half = (arc2 - arc1) / 2
    arcs = (arc1 + arc2)[..., None] / 2 + half[..., None] * _NODES
    stretch = np.sqrt(1 + SECOND_ECCENTRICITY2 * (1 - sin0**2)[..., None] * np.sin(arcs) ** 2)
    metres = B_M * half * (stretch @ _WEIGHTS)
    lag = half * (((2 - FLATTENING) / (1 + (1 - FLATTENING) * stretch)) @ _WEIGHTS)
    return on_sphere - FLATTENING * sin0 * lag, metres
