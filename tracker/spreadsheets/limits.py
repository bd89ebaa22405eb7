"""How big and how odd a file may be. Every refusal names the limit it met."""

from tracker.confined import Limits

MAX_BYTES = 5 * 1024 * 1024
MAX_ROWS = 20_000  # without the header
MAX_COLUMNS = 100
MAX_CELL_CHARACTERS = 131_072  # the csv module's own default

ZIP_MEMBERS = 200
ZIP_INFLATED_BYTES = 50 * 1024 * 1024  # counted while inflating: the sizes written in the file may lie
ZIP_RATIO = 100

CHILD = Limits(memory_bytes=1024**3, cpu_seconds=60, wall_seconds=120)
