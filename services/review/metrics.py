"""In which unit a kind of part is told: what rides down, what ages, what a meter counts."""

MAIN = "km"
_BY_AGE = frozenset({"battery", "charger", "display", "elastomer", "headrest", "lights", "seat_mesh", "speed_sensor"})
_METERS = {"motor": "hours", "battery": "cycles"}
FEWEST_READ = 0.5  # share of the pieces whose meter must have been read, else the metric is left out


def main_metric(kind: str) -> str:
    """Return the metric of a kind: days for what ages or is electronic, km for what wears (common practice, no source)."""
    return "days" if kind in _BY_AGE else MAIN


def metrics_for(kind: str) -> tuple[str, ...]:
    """Return all metrics in which a kind is reckoned, where its meter was read; the main one first."""
    main = main_metric(kind)
    other = "km" if main == "days" else "days"
    meter = _METERS.get(kind)
    return (main, other, meter) if meter else (main, other)
