"""Owners who ask for the last room of a day at one moment: real processes, one gets it."""

import pytest

from tests.processes import filled_workshop

OWNERS, ROUNDS = 4, 5

FILL = f"""
from tests import factories as make
for _ in range({OWNERS}):
    owned = make.OwnershipFactory()
    make.VisitLineFactory(visit__trike=owned.trike, visit__minutes=300)  # a bench day holds 420 minutes, one of these
    make.OwnerLinkFactory(trike=owned.trike, owner=owned.owner)
"""

ASK = f"""
import json, os, sys
from datetime import date, timedelta
from pathlib import Path
from services.errors import Refusal
from tests.factories import NOW
from tests.processes import begin_together
from tracker.actions.appointments import ask_for_day, withdraw
from tracker.models import OwnerLink

number, folder = int(sys.argv[1]), Path(os.environ["TRACKER_DATA_DIR"])
link, said = OwnerLink.objects.order_by("pk")[number], []
for turn in range({ROUNDS}):
    begin_together(folder / f"ask-{{turn}}", {OWNERS})
    try:
        ask_for_day(link=link, on=date(2026, 5, 11) + timedelta(days=turn), now=NOW)
        said.append("asked")
    except Refusal as refusal:
        said.append(refusal.code)
    begin_together(folder / f"back-{{turn}}", {OWNERS})
    if said[-1] == "asked":
        withdraw(link=link, now=NOW)
print(json.dumps(said))
"""


@pytest.fixture
def shop(tmp_path):
    """Four owners with a link each, in a database that four processes share."""
    with filled_workshop(tmp_path, FILL) as shop:
        yield shop


def test_of_four_owners_who_ask_for_the_last_room_at_one_moment_one_gets_it(shop):
    told = shop.told_at_once(ASK, OWNERS)
    for turn in range(ROUNDS):
        assert sorted(rows[turn] for rows in told) == ["asked"] + ["day-taken"] * (OWNERS - 1)
