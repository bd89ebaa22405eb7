"""Which test or command shows each promise of reliability, by the number it has in the design: `python -m tests.scores promises`.

Each of them prints its figures (tests: `pytest -n 0 -s`). A test in tests/tasks/test_promises.py finds every place that is
named here.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Promise:
    """What must hold, where its short form is tested, and how its long form is run."""

    goal: str
    holds: str
    short: str
    long: str


LONG = "LONG_WALKS=1 pytest -n 0 -s"
PROMISES = (
    Promise(
        "R1", "200 kills over web, dispatcher, worker, beat: nothing lost, no effect twice, what is unsent is listed",
        ".ci/run: tests.scores faults --quick --redis --postgres", "tests.scores faults [--redis] [--postgres]",
    ),
    Promise(
        "R2", "the same on a real mail server: no routine mail twice, no safety mail lost",
        ".ci/run: tests.scores faults --quick --redis --postgres", "tests.scores faults [--redis] [--postgres]",
    ),
    Promise(
        "R3", "three schedulers at once, one killed in or after each slot: one reminder per key, none missing",
        "tests/tasks/test_twice.py::test_three_schedulers_at_once_over_a_year_write_one_reminder_per_key_and_miss_none",
        f"{LONG} tests/tasks/test_twice.py -k three_schedulers",
    ),
    Promise(
        "R4", "Redis absent, flushed ten times, away for a minute: nothing lost, no 5xx, caught up within a minute",
        ".ci/run: tests.scores faults --quick --broker", "tests.scores faults --broker",
    ),
    Promise(
        "R5", "every task run twice, and by several at once: the record is that of one run",
        "tests/tasks/test_twice.py::test_a_sweep_by_several_processes_at_once_leaves_the_record_that_one_leaves",
        f"{LONG} tests/tasks/test_twice.py",
    ),
    Promise(
        "R6", "settings that lose or double work do not start; no task is put off through the broker",
        "tests/tasks/test_background.py::test_a_setting_that_loses_or_doubles_work_is_named", "the same",
    ),
    Promise(
        "R16", "two years, six zones, hour by hour, clock set and jumping: none in quiet hours, none twice",
        "tests/reminders/test_two_years.py::test_two_years_in_six_zones_send_nothing_in_quiet_hours_and_nothing_twice",
        f"{LONG} tests/reminders/test_two_years.py",
    ),
    Promise(
        "R17", "a safety notice to 1,000 owners: all written to within a minute, the others listed, never released alone",
        ".ci/run: tests.scores safety --quick --redis --postgres",
        "tests.scores safety [--redis] [--postgres]",
    ),
    Promise(
        "R18", "one-click stop without cookie, looks of mail scanners, forged tokens",
        "tests/reminders/test_link_attacks.py::test_random_tokens_open_nothing",
        f"{LONG} tests/reminders/test_link_attacks.py",
    ),
    Promise(
        "R19", "1,000 feeds x 50 edits: read by two libraries, UIDs constant, sequence only up, lines of 75 octets",
        "tests/reminders/test_feeds.py::test_many_feeds_keep_their_uids_and_only_rise_through_many_edits_each",
        f"{LONG} tests/reminders/test_feeds.py -k many_feeds",
    ),
    Promise(
        "R20", "forty kinds of returned mail: each told apart, nothing sent after a hard bounce",
        "tests/services/test_bounces.py::test_what_comes_back_is_told_apart", "the same",
    ),
    Promise(
        "R27", "a process that stands still: red within three minutes, the rest works on",
        "tests/tasks/test_background.py::test_three_minutes_after_a_kind_stopped_readyz_is_red", "the same",
    ),
)  # fmt: skip


def main(options: list[str]) -> int:
    """Print the table."""
    for promise in PROMISES:
        print(f"{promise.goal:<4} {promise.holds}\n     short: {promise.short}\n     long:  {promise.long}")
    return 0
