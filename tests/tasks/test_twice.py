"""Goals R3 and R5: three schedulers at once over a simulated year; every task run twice, and by several at once.

The short form keeps few trikes, days and processes; LONG_WALKS=1 takes the sizes of the goals (1,000 trikes, 365 days,
eight at once; fewer with LONG_TRIKES and LONG_DAYS). The figures are printed. Real processes on a real database; the clock
is told to each sweep.
"""

import json
import os
import time

import pytest

from tests.processes import Workshop, filled_workshop
from tests.reminders.walks import IS_LONG

LONG = (int(os.environ.get("LONG_TRIKES", "1000")), int(os.environ.get("LONG_DAYS", "365")), 1)
TRIKES, DAYS, STEP = LONG if IS_LONG else (8, 120, 10)
LAST_DAYS = 80  # the walk begins 30 days early, and who falls due last is still told that it is overdue
SCHEDULERS, AT_ONCE = 3, 8 if IS_LONG else 3
PATIENCE = 7200.0 if IS_LONG else 300.0

FILL = """
import sys
from tests.reminders.conftest import some_task, trike_with
from tracker.models import Trike
count, spread = map(int, sys.argv[1:])
for number in range(count):
    trike_with(some_task(safety=False), later=number * spread // count)
Trike.objects.update(due_dirty=True)
"""

# Schedulers that all sweep on each simulated day. The first one is killed in the middle of each slot, or
# right after it, and its successor begins the slot anew, only to be killed at its end (SIGKILL: nobody tidies up).
YEAR = """
import json, os, random, signal, sys, time, traceback
from collections import Counter
from datetime import timedelta
from pathlib import Path
from tests.processes import begin_together
from tests.reminders.conftest import DUE
from tracker.actions.reminders import begin_sweep, sweep_shard
number, count, days, step = map(int, sys.argv[1:5])
rng, ended, took = random.Random(number), Counter(), 0.2

def slot(now):
    run, shards = begin_sweep(now=now)
    for shard in shards:
        sweep_shard(run_id=run.pk, trike_ids=shard, now=now)

def slot_of_a_victim(now, seconds):
    child = os.fork()
    if child == 0:
        try:
            signal.setitimer(signal.ITIMER_REAL, seconds)  # nobody catches SIGALRM: it kills
            slot(now)
            os.kill(os.getpid(), signal.SIGKILL)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
    ended[signal.Signals(os.WTERMSIG(os.waitpid(child, 0)[1])).name] += 1

for day in range(-30, days - 30, step):
    now = DUE + timedelta(days=day)
    begin_together(Path(os.environ["TRACKER_DATA_DIR"]) / f"day {day}", count)
    if number > 0:
        slot(now)
        continue
    slot_of_a_victim(now, rng.uniform(0.01, 1.2) * took)
    begun = time.monotonic()
    slot_of_a_victim(now, 0.0)
    took = time.monotonic() - begun
print(json.dumps(ended))
"""

SWEEP = """
import os, sys
from pathlib import Path
from tests.processes import begin_together
from tests.reminders.conftest import DUE
from tracker.actions.reminders import run_sweep
times, count = int(sys.argv[1]), int(sys.argv[2])
if count > 1:
    begin_together(Path(os.environ["TRACKER_DATA_DIR"]) / "sweep", count)
for _ in range(times):
    run_sweep(now=DUE, everything=True)
"""

TASKS = """
import os, sys
from pathlib import Path
from tests.processes import begin_together
from tracker.tasks import imports, outbox, photos
times, count = int(sys.argv[1]), int(sys.argv[2])
if count > 1:
    begin_together(Path(os.environ["TRACKER_DATA_DIR"]) / "tasks", count)
for _ in range(times):
    outbox.dispatch_outbox()
    imports.forget_import_files()
    photos.forget_lost_photos()
"""

# What a sweep leaves behind, without the numbers that a database hands out and the addresses of letters.
STATE = """
import json
from tracker.models import *
visits = {row.pk: row for row in Visit.objects.select_related("trike")}
name = lambda row: row.trike.frame_serial
print(json.dumps({
    "visits": sorted([name(v), v.state, str(v.planned_on), v.minutes, v.words, v.sequence] for v in visits.values()),
    "lines": sorted([name(visits[r.visit_id]), r.task, str(r.due_on), r.reason] for r in VisitLine.objects.all()),
    "messages": sorted([name(m), m.kind, m.stage, m.state, str(m.not_before), m.payload, m.attempts]
                       for m in OutboxMessage.objects.select_related("trike")),
    "due": sorted([d.trike.frame_serial, d.task, str(d.due_on), d.facts] for d in DueLine.objects.select_related("trike")),
    "dirty": Trike.objects.filter(due_dirty=True).count(),
}, sort_keys=True))
"""

YEAR_STATE = """
import json
from collections import Counter
from tracker.models import *
rows = list(OutboxMessage.objects.values_list("trike_id", "visit_id", "stage"))
print(json.dumps({
    "keys": len(rows), "most_per_key": max(Counter(rows).values()), "stages": Counter(stage for _, _, stage in set(rows)),
    "visits": Visit.objects.count(),
}))
"""


def new_workshop(folder, trikes: int, spread: int = 0):
    """A workshop with so many trikes whose work falls due within `spread` days; no quiet hours. Several processes share it."""
    settings = {"QUIET_FROM_HOUR": "24", "QUIET_UNTIL_HOUR": "0", "SMTP_HOST": ""}
    return filled_workshop(folder, FILL, str(trikes), str(spread), timeout=PATIENCE, **settings)


@pytest.fixture
def year(tmp_path):
    """The workshop of the simulated year."""
    with new_workshop(tmp_path, TRIKES, spread=DAYS - LAST_DAYS) as shop:
        yield shop


@pytest.fixture(scope="module")
def swept_once(tmp_path_factory):
    """A workshop swept once, by one process."""
    with new_workshop(tmp_path_factory.mktemp("once"), 12) as shop:
        shop.run(*shop.script(SWEEP), "1", "1")
        yield shop


@pytest.fixture(scope="module")
def swept_by_many(tmp_path_factory):
    """A workshop like it, swept by several processes at once."""
    with new_workshop(tmp_path_factory.mktemp("many"), 12) as shop:
        shop.run_at_once(*[(*shop.script(SWEEP), "1", str(AT_ONCE))] * AT_ONCE)
        yield shop


def told(shop: Workshop, text: str) -> dict:
    return shop.told(text, timeout=PATIENCE)


def test_three_schedulers_at_once_over_a_year_write_one_reminder_per_key_and_miss_none(year):
    begun = time.monotonic()
    said = year.run_at_once(
        *[(*year.script(YEAR), str(n), str(SCHEDULERS), str(DAYS), str(STEP)) for n in range(SCHEDULERS)],
        timeout=PATIENCE,
    )
    ended, found = json.loads(said[0]), told(year, YEAR_STATE)
    missing = {stage: TRIKES - found["stages"].get(stage, 0) for stage in ("heads_up", "due", "overdue")}
    print(f"{TRIKES} trikes, {DAYS} days, {SCHEDULERS} schedulers, one killed {ended['SIGALRM']} times within a slot and "
          f"{ended['SIGKILL']} times after one: {found['keys']} reminders, most per key {found['most_per_key']}, "
          f"missing {missing}; {time.monotonic() - begun:.0f} s")  # fmt: skip
    assert found["most_per_key"] == 1
    assert found["visits"] == TRIKES
    assert set(missing.values()) == {0}
    assert ended["SIGALRM"] > 0
    assert set(ended) == {"SIGALRM", "SIGKILL"}


def test_a_sweep_by_several_processes_at_once_leaves_the_record_that_one_leaves(swept_once, swept_by_many):
    assert told(swept_by_many, STATE) == told(swept_once, STATE)


def test_a_sweep_run_again_changes_nothing(swept_once):
    before = told(swept_once, STATE)
    swept_once.run(*swept_once.script(SWEEP), "2", "1")
    assert told(swept_once, STATE) == before


def test_what_goes_out_goes_out_once_by_several_processes_that_run_the_tasks_twice_each(swept_by_many):
    shop = swept_by_many
    shop.run_at_once(*[(*shop.script(TASKS), "2", str(AT_ONCE))] * AT_ONCE)
    messages = told(shop, STATE)["messages"]
    letters = len(list((shop.folder / "mail").glob("*.eml")))
    print(f"{AT_ONCE} at once, twice each: {len(messages)} messages, {letters} letters")
    assert letters == len(messages) == 12
    assert {(row[3], row[6]) for row in messages} == {("sent", 1)}


def test_the_tasks_run_again_send_nothing_more(swept_once):
    shop = swept_once
    shop.run(*shop.script(TASKS), "1", "1")
    before = told(shop, STATE)
    shop.run(*shop.script(TASKS), "1", "1")
    assert told(shop, STATE) == before
    assert len(list((shop.folder / "mail").glob("*.eml"))) == 12
