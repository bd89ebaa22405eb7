"""Seasons by time zone, against the coordinates in the time zone database where the machine has it."""

from importlib.util import find_spec
from pathlib import Path
from zoneinfo import available_timezones

import pytest

from services.hemisphere import SOUTHERN_ZONES, is_southern

TABLES = [Path("/usr/share/zoneinfo/zone.tab")]
if find_spec("tzdata"):
    TABLES.append(Path(find_spec("tzdata").origin).parent / "zoneinfo" / "zone.tab")


@pytest.mark.parametrize(
    ("zone", "southern"),
    [
        ("Europe/London", False), ("Australia/Melbourne", True), ("America/Sao_Paulo", True), ("Africa/Lagos", False),
        ("Africa/Nairobi", True), ("Asia/Singapore", False), ("Asia/Jakarta", True), ("NZ", True), ("nowhere", False),
    ],
)  # fmt: skip
def test_the_half_of_the_earth_follows_from_the_zone(zone, southern):
    """Latitudes of an atlas: Nairobi 1 S, Singapore 1 N, Jakarta 6 S, Lagos 6 N."""
    assert is_southern(zone) is southern


def test_every_zone_of_the_database_lies_where_its_coordinates_say():
    table = next((path for path in TABLES if path.exists()), None)
    rows = [] if table is None else [line.split("\t") for line in table.read_text().splitlines() if line[:1] != "#"]
    for row in rows:
        assert is_southern(row[2]) is row[1].startswith("-"), row[2]
    assert {name for name in SOUTHERN_ZONES if name.startswith(("Australia/", "NZ"))} <= available_timezones() | {"NZ"}
