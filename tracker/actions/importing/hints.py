"""'Is ... meant?': the nearest known name. Looked up once per file and offered for the first few rows only."""

from collections.abc import Callable, Iterable
from difflib import get_close_matches

MOST = 20  # comparing every wrong row with every known name would take minutes in a file of the wrong kind


class Hints:
    """Nearest names among those `load` answers."""

    def __init__(self, load: Callable[[], Iterable[str]]) -> None:
        self._load = load
        self._names: list[str] | None = None
        self._given = 0

    def near(self, name: str) -> str:
        """Return ' Is X meant?', or '' if nothing comes close."""
        if self._given == MOST:
            return ""
        self._given += 1
        if self._names is None:
            self._names = sorted(self._load())
        found = get_close_matches(name, self._names, n=1, cutoff=0.8)
        return f" Is {found[0]} meant?" if found else ""
