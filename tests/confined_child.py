"""A child for the tests of tracker/confined.py: it does with the file what its argument says."""

import os
import sys
import time

from tracker.confined import FileTooLarge, Limits, answer_parent

LIMITS = Limits(memory_bytes=1024**3, cpu_seconds=2, wall_seconds=20)


def _read(content: bytes):
    match sys.argv[1]:
        case "tell":
            return {"text": content.decode(), "knows": sorted(os.environ)}
        case "refuse":
            raise FileTooLarge("It is a whale.", field="file", remedy="Send a minnow.")
        case "sleep":
            time.sleep(30)
        case "abort":
            os.abort()
        case "fill":
            return len(bytearray(2 * 1024**3))
        case "spin":
            while True:
                pass
    return None


if __name__ == "__main__":
    answer_parent(LIMITS, _read)
