"""How long the one search field takes on PostgreSQL with 100,000 trikes and 1.2 million components.

Makes a database of its own beside the one DATABASE_URL names, and drops it at the end. --quick: a fiftieth of the rows.
"""

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np

from tests.scores.goals import Goals

TRIKES = 100_000
TIMES = 200
GOAL_MS = 50.0
Texts = dict[str, list[str]]


def main(options: list[str]) -> int:
    """Time each way to search: median and 95th of a hundred at most 50 ms, the whole answer to the browser included."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.test")
    os.environ.setdefault("LOG_LEVEL", "WARNING")
    import django

    django.setup()
    from django.db import connection

    if connection.vendor != "postgresql":
        print("This score needs PostgreSQL: set DATABASE_URL=postgres://... to a role that may create databases.")
        return 2
    quick = "--quick" in options
    with own_database():
        return measured(TRIKES // 50 if quick else TRIKES, TIMES // 10 if quick else TIMES)


@contextmanager
def own_database() -> Iterator[None]:
    """A new, migrated database while it lasts."""
    from django.db import connection

    name = connection.settings_dict["NAME"]
    connection.settings_dict["TEST"]["NAME"] = f"tracker_find_{os.getpid()}"
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


def measured(trikes: int, times: int) -> int:
    """Fill the database, time each kind of text, show the plans."""
    from tests.scores import find_rows
    from tracker.queries.search import find

    begun = time.perf_counter()
    rows = find_rows.fill(trikes)
    find_rows.add_a_person()
    goals = Goals("find: milliseconds per search, one client")
    goals.say(
        ", ".join(f"{count:,} {table}s" for table, count in rows.items()) + f" in {time.perf_counter() - begun:.0f} s"
    )
    asked = texts(times)
    hints = hints_of_a_browser()
    for kind, samples in asked.items():
        spent = milliseconds(find, samples)
        found = np.mean([len(find(text)) for text in samples[:20]])
        goals.say(f"{kind}: e.g. {samples[0]!r}, {found:.1f} found; longest {spent.max():.1f} ms")
        goals.at_most(f"  median, {len(samples)} texts", float(np.median(spent)), GOAL_MS)
        goals.at_most("  95th of a hundred", float(np.percentile(spent, 95)), GOAL_MS)
        goals.at_most(
            "  the list as you type, answer and all, 95th",
            float(np.percentile(milliseconds(hints, samples), 95)),
            GOAL_MS,
        )
    for kind, samples in asked.items():
        show_plans(goals, kind, samples[0])
    return goals.ended()


def milliseconds(ask: Callable[[str], object], samples: list[str]) -> np.ndarray:
    """What each text takes on the clock on the wall, after a few to warm up."""
    for text in samples[:5]:
        ask(text)
    spent = []
    for text in samples:
        begun = time.perf_counter()
        ask(text)
        spent.append(1000.0 * (time.perf_counter() - begun))
    return np.array(spent)


def hints_of_a_browser() -> Callable[[str], object]:
    """Return a browser, logged in, that asks for the list as you type."""
    from django.test import Client

    from tracker.models import User

    client = Client()
    client.force_login(User.objects.get(username="desk"))

    def ask(text: str) -> None:
        assert client.get("/find-hints/", {"q": text}).status_code == 200

    return ask


def texts(times: int) -> Texts:
    """Return what people type, kind by kind, taken from the record itself."""
    from tests.scores.find_rows import sampled

    serials = sampled("component", "serial", times)
    plates = sampled("trike", "plate", times)
    names = sampled("owner", "name", times)
    phones = sampled("owner", "phone", times)
    jobs = sampled("jobcard", "number", times)
    return {
        "a whole serial": [text.lower() for text in serials],
        "the beginning of a serial, three characters": [text[:3] for text in serials],
        "two characters": [text[:2] for text in serials],
        "the last five of a serial": [text[-5:] for text in serials],
        "three from the middle of a serial": [text[2:5] for text in serials],
        "a plate": plates,
        "the digits of a plate": [text[3:] for text in plates],
        "an owner's name with accents": names,
        "a surname without accents, first name behind": [turned(text) for text in names],
        "three letters of a name": [text.split()[1][-4:-1] for text in names],
        "a phone number as at home": [f"{text[:5]} {text[5:]}" for text in phones],
        "a phone number from abroad": [f"+44 (0){text[1:5]}-{text[5:]}" for text in phones],
        "the last four digits of a phone number": [text[-4:] for text in phones],
        "a job number": jobs,
        "the end of a job number": [text[-5:] for text in jobs],
        "a model": ["fenrunner", "marsh", "Heathcote", "weirdale"] * (times // 4),
        "a batch": sampled("component", "batch", times),
        "nothing found: a serial": [f"ZZ-{text[::-1]}" for text in serials],
        "nothing found: two words": [f"{text.split()[1]} qqx" for text in names],
        "what is everywhere": ["000", "-26-", "00-0", "ann", "son", "007"] * (times // 6),
    }


def turned(name: str) -> str:
    """Surname first, folded: 'angstrom zoe'."""
    from services.identity import fold_name

    return " ".join(reversed(fold_name(name).split()))


def show_plans(goals: Goals, kind: str, text: str) -> None:
    """Print what PostgreSQL does for each query that looks for ids: the nodes of its plan, and the time."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tracker.queries.search import find

    with CaptureQueriesContext(connection) as asked:
        find(text)
    goals.say(f"\nplans for {kind}: {text!r}")
    with connection.cursor() as cursor:
        for query in asked.captured_queries:
            if any(sign in query["sql"] for sign in ("LIKE", "UPPER(")):
                cursor.execute(f"EXPLAIN (ANALYZE, COSTS OFF, TIMING OFF) {query['sql']}")
                for line in kept_lines([line for (line,) in cursor.fetchall()]):
                    goals.say(f"  {line}")


def kept_lines(plan: list[str]) -> list[str]:
    """Return the scans, what they looked for and how long it took."""
    signs = ("Scan", "Cond", "Filter:", "Sort Method", "Execution Time")
    return [line[:150] for line in plan if any(sign in line for sign in signs)]
