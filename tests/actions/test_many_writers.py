"""Eight processes that write at once, as real processes on a real database: nothing is lost, nothing is written twice."""

import pytest

from tests.processes import Workshop, filled_workshop

WRITERS = 8
ROUNDS = 2

# Eight delivered trikes in a ring: each carries a chain that once ran on the one before it, so that a reading of one
# moves the due lines of the next and the last shares parts with the first. And one part in stock, wanted by all.
FILL = f"""
from datetime import timedelta
from tests import factories as make
from tracker.models import Trike
make.ServiceIntervalFactory()
make.UserFactory(username="ada")
trikes = [make.OwnershipFactory().trike for _ in range({WRITERS})]
chains = [make.ComponentFactory(part_type__kind="chain", state="fitted") for _ in trikes]
moved = make.DELIVERED + timedelta(days=30)
for before, trike, chain in zip(trikes[-1:] + trikes[:-1], trikes, chains):
    make.FitmentFactory(component=chain, trike=before, removed_at=moved, fate="in_stock")
for trike, chain in zip(trikes, chains):
    make.FitmentFactory(component=chain, trike=trike, fitted_at=moved)
make.ComponentFactory(part_type__kind="battery", serial="WANTED")
from tracker.actions.reminders import sweep_trikes
sweep_trikes(trike_ids=[trike.pk for trike in trikes], now=make.NOW)
"""

# What each process starts with.
AT_ONCE = """
import json, os, sys
from collections import Counter
from datetime import timedelta
from pathlib import Path
from django.db import DatabaseError
from services.errors import Refusal
from tests.factories import NOW
from tests.processes import begin_together
from tracker.actions import fitments, job_cards, schedule, signing, usage
from tracker.models import Component, Trike, User

number, folder = int(sys.argv[1]), Path(os.environ["TRACKER_DATA_DIR"])
trikes = list(Trike.objects.order_by("pk"))
by = User.objects.get(username="ada")
said = Counter()

def do(action, **values):
    try:
        answer = action(**values)
    except (Refusal, DatabaseError) as error:
        said[f"{type(error).__name__}: {error}"] += 1
        return None
    said[action.__name__] += 1
    return answer
"""

WRITE = f"""
begin_together(folder / "write", {WRITERS})
mine = trikes[number]
for turn in range({ROUNDS}):
    now = NOW + timedelta(hours=turn, minutes=number)
    do(usage.record_reading, trike_id=mine.pk, value=2000 + turn, read_at=now, now=now)
    do(schedule.report_occurrence, trike_id=trikes[0].pk, kind="crash", happened_at=now, now=now)
    card = do(job_cards.open_card, trike_id=mine.pk, by=by, now=now)
    if card:
        do(job_cards.take_odometer, card_id=card.pk, value=2000 + turn, by=by, now=now)
        do(job_cards.update_card, card_id=card.pk, version=None, changes={{"correction": "oiled"}}, now=now)
        do(signing.sign_card, card_id=card.pk, version=None, by=by, now=now)
print(json.dumps(said))
"""

FIT = f"""
begin_together(folder / "fit", {WRITERS})
wanted = Component.objects.get(serial="WANTED")
do(fitments.fit_component, trike_id=trikes[number].pk, position="battery", component_id=wanted.pk, at=NOW, now=NOW)
print(json.dumps(said))
"""

LOOK = """
import json
from tracker.models import *
from tracker.queries import due, logbook
print(json.dumps({
    "readings": OdometerReading.objects.count(),
    "occurrences": Occurrence.objects.count(),
    "signed": JobCard.objects.filter(state="signed").count(),
    "numbers": JobCard.objects.values("number").distinct().count(),
    "entries": LogEntry.objects.count(),
    "broken": len(list(logbook.broken_chains())),
    "due": due.rebuild_differences(),
    "wanted": list(Fitment.objects.current().filter(component__serial="WANTED").values_list("position", flat=True)),
}))
"""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """A database that several processes share, with what FILL puts there."""
    with filled_workshop(tmp_path_factory.mktemp("many-writers"), FILL) as workshop:
        yield workshop


def all_at_once(workshop: Workshop, what: str) -> list[dict[str, int]]:
    """Run `what` in eight processes that begin together; return what each counted."""
    return workshop.told_at_once(AT_ONCE + what, WRITERS)


def test_eight_processes_write_at_once_without_an_error_and_nothing_is_lost(workshop):
    names = ("record_reading", "report_occurrence", "open_card", "take_odometer", "update_card", "sign_card")
    assert all_at_once(workshop, WRITE) == [dict.fromkeys(names, ROUNDS)] * WRITERS
    written = WRITERS * ROUNDS
    assert workshop.told(LOOK) == {
        "readings": 2 * written, "occurrences": written, "signed": written, "numbers": written,
        "entries": 4 * written, "broken": 0, "due": [], "wanted": [],
    }  # fmt: skip


def test_eight_processes_fit_one_serial_in_eight_places_and_one_wins(workshop):
    said = all_at_once(workshop, FIT)
    assert sum(counts.get("fit_component", 0) for counts in said) == 1
    refused = [answer for counts in said for answer in counts if answer != "fit_component"]
    assert len(refused) == WRITERS - 1
    assert all(answer.startswith("SerialAlreadyFitted: WANTED sits on trike F") for answer in refused)
    assert workshop.told(LOOK)["wanted"] == ["battery"]
