"""What a start of the demo needs to know: its logins, and the note that says whether it is filled.

It stands apart from demo_data so that a second start does not load everything that fills a record.
"""

import json
from datetime import date
from pathlib import Path

# Username, name, role, password. Known to everybody: the demo binds to this machine only.
LOGINS = (
    ("desk", "Dana at the desk", "desk", "desk-demo-2026"),
    ("mechanic", "Mika the mechanic", "mechanic", "mechanic-demo-2026"),
    ("mechanic2", "Noor, second signature", "mechanic", "mechanic-demo-2026"),
    ("reviewer", "Remi the reviewer", "reviewer", "reviewer-demo-2026"),
    ("admin", "Ada the admin", "admin", "admin-demo-2026"),
)


class Marker:
    """The note beside the demo's database that says: this is a demo, of which day, and whether it is complete."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def read(self) -> dict[str, str]:
        """Return what the note says; empty when there is none."""
        try:
            return json.loads(self.path.read_text())
        except (OSError, ValueError):
            return {}

    def write(self, state: str, day: date) -> None:
        """Write the note anew."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        self.path.write_text(json.dumps({"state": state, "day": day.isoformat()}))
