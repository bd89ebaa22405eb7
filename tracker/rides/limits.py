"""How big a ride file may be and how long reading it may take. Every refusal names the limit it met."""

MAX_BYTES = 8 * 1024 * 1024
MAX_POINTS = 100_000  # a day and a night, one a second

CHILD_MEMORY_BYTES = 1024**3
CHILD_CPU_SECONDS = 20  # a day and a night of FIT takes 10 s, three hours of GPX 0.1 s
CHILD_WALL_SECONDS = 40
CHILDREN_AT_ONCE = 2  # per web process: readers of ride files never hold all of its threads
CHILD_WAIT_SECONDS = 5


def say_bytes(count: int) -> str:
    """Return a number of bytes in MB, as messages name it."""
    return f"{count / 1024**2:.1f} MB".replace(".0 MB", " MB")
