"""How big a ride file may be and how long reading it may take. Every refusal names the limit it met."""

from tracker.confined import Limits

MAX_BYTES = 8 * 1024 * 1024
MAX_POINTS = 100_000  # a day and a night, one a second

# a day and a night of FIT takes 10 s, three hours of GPX 0.1 s
CHILD = Limits(memory_bytes=1024**3, cpu_seconds=20, wall_seconds=40)
CHILDREN_AT_ONCE = 2  # per web process: readers of ride files never hold all of its threads
CHILD_WAIT_SECONDS = 5
