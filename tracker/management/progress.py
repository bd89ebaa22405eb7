"""A progress bar for the long parts of a command: one line on a terminal, a few plain lines anywhere else."""

import sys
import time

WIDTH = 24


class Bar:
    """Shows `words`, a bar and a count on stderr; call it with (done, total) as the work goes on."""

    def __init__(self, words: str, stream=None) -> None:
        self.words = words
        self.stream = stream or sys.stderr
        self.begun = time.monotonic()
        self._told = -1

    def __call__(self, done: int, total: int, note: str = "") -> None:
        """Show that `done` of `total` is through."""
        if self.stream.isatty():
            full = WIDTH * done // max(total, 1)
            self._write(f"\r{self.words:<28} [{'#' * full}{'.' * (WIDTH - full)}] {done}/{total} {note[:30]:<30}")
        elif (quarter := 4 * done // max(total, 1)) > self._told:
            self._told = quarter
            self._write(f"{self.words}: {done} of {total} {note}".rstrip() + "\n")

    def end(self, says: str = "done") -> None:
        """Close the line with the result and the time it took."""
        seconds = time.monotonic() - self.begun
        begin, pad = ("\r", " " * 40) if self.stream.isatty() else ("", "")
        self._write(f"{begin}{self.words:<28} {says} ({seconds:.1f} s){pad}\n")

    def _write(self, text: str) -> None:
        self.stream.write(text)
        self.stream.flush()
