"""A small workshop told in spreadsheets: rows that import cleanly, to be varied by the tests."""

from tests.factories import NOW
from tests.imports.workbooks import file_of
from tracker.actions.imports import Report, bring_in

RATED = {
    "frame": "",
    "motor": "firmware_family=tern-2; nominal_w=250; nominal_v=36",
    "battery": "rated_wh=504; nominal_v=36",
    "chain": "pitch_mm=12,7; links=299; limit_pct=0,75; drivetrain=derailleur; speeds=9",
    "elastomer": "grade=medium; shore_a=65",
}
LETTERS = {"frame": "F", "motor": "M", "battery": "B", "chain": "C", "elastomer": "E"}


def part(kind: str, serial: str, **more) -> dict:
    """Return a row of a parts file."""
    return {
        "Serial": serial, "Part number": f"LF-{LETTERS[kind]}1", "Kind": kind, "Maker": "Hazelwick Parts",
        "Name": f"{kind} one", "Made on": "2025-01-15", "Rated values": RATED[kind],
    } | more  # fmt: skip


def parts_for(number: int) -> list[dict]:
    """Return the parts of one trike, and a spare chain."""
    return [
        part("frame", f"F{number}"), part("chain", f"C{number}"), part("chain", f"S{number}"), part("battery", f"B{number}"),
        part("elastomer", f"EL{number}"), part("elastomer", f"ER{number}"),
    ]  # fmt: skip


def delivery(number: int, **more) -> dict:
    """Return a row of a delivery file."""
    return {
        "Frame serial": f"F{number}", "Plate": f"LT-{number}", "Model": "Fenrunner", "Delivered": "01.05.2025",
        "Owner": f"Zoë Rider{number}", "E-mail": f"rider{number}@example.org", "Phone": "020 7946 0101",
        "Time zone": "Europe/Berlin", "Units": "km", "Consent": "yes", "Built by": "Nia Prosser",
        "Second signature": "Tom Ashby", "Odometer at handover": "12,5", "Odo unit": "km", "Rider mass kg": "78",
        "Shock pressure": "150", "Shock unit": "psi", "Elastomer grade": "medium", "Toe-in mm": "1",
        "Battery": f"B{number}", "Chain": f"C{number}", "Elastomer left": f"EL{number}", "Elastomer right": f"ER{number}",
    } | more  # fmt: skip


def reading(number: int, day: str, value: str, **more) -> dict:
    """Return a row of an odometer file."""
    return {"Date": day, "Trike": f"F{number}", "Reading": value, "Unit": "km", "Source": "owner"} | more


def job(number: int, **more) -> dict:
    """Return a row of a service book."""
    return {
        "Date": "2025-11-03", "Frame serial": f"F{number}", "Job": f"J25-{number:05d}", "Odometer": "900", "Unit": "km",
        "Minutes": "40", "Mechanic": "Nia Prosser",
    } | more  # fmt: skip


def bring(kind: str, *rows: dict, now=NOW, write=True, **how) -> Report:
    """Check and write one file; return its report."""
    files = [(f"{kind}.csv", file_of(kind, *rows))]
    return bring_in(files=files, kind=kind, now=now, write=write, **how)[0]


def furnish(*numbers: int) -> None:
    """Register and deliver trikes by their numbers."""
    assert not bring("parts", *(row for number in numbers for row in parts_for(number))).is_refused
    assert not bring("deliveries", *(delivery(number) for number in numbers)).is_refused
