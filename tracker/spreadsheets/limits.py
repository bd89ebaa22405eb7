"""How big and how odd a file may be. Every refusal names the limit it met."""

MAX_BYTES = 5 * 1024 * 1024
MAX_ROWS = 20_000  # without the header
MAX_COLUMNS = 100
MAX_CELL_CHARACTERS = 131_072  # the csv module's own default

ZIP_MEMBERS = 200
ZIP_INFLATED_BYTES = 50 * 1024 * 1024  # counted while inflating: the sizes written in the file may lie
ZIP_RATIO = 100

CHILD_MEMORY_BYTES = 1024**3
CHILD_CPU_SECONDS = 60
CHILD_WALL_SECONDS = 120


def say_bytes(count: int) -> str:
    """Return a number of bytes in MB, as messages name it."""
    return f"{count / 1024**2:.1f} MB".replace(".0 MB", " MB")
