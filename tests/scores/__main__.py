"""Run one score, or all: `python -m tests.scores due --quick`. Ends with 1 when a goal is missed."""

import importlib
import sys

WORDS = ("due", "worlds", "timeline", "reminders", "wear", "visits", "speed", "life", "review")
# Asked for by name only: they fill a database of their own, and take minutes; `promises` only tells where each is shown.
BY_NAME = ("find", "faults", "safety", "bulletins", "promises")


def main(argv: list[str]) -> int:
    """Run the asked words in order; the rest of the arguments goes to each."""
    asked = [word for word in argv if not word.startswith("-")] or ["all"]
    options = [word for word in argv if word.startswith("-")]
    words = WORDS if asked == ["all"] else asked
    unknown = [word for word in words if word not in WORDS + BY_NAME]
    if unknown:
        print(f"No score is called {', '.join(unknown)}. There are: {', '.join(WORDS + BY_NAME)}, all.")
        return 2
    missed = [word for word in words if importlib.import_module(f"tests.scores.{word}").main(options)]
    if missed:
        print(f"Goals missed in: {', '.join(missed)}.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
