"""Two release one bulletin at the same moment; parts are moved while cards are signed and the night matches again."""

import pytest

from tests.processes import filled_workshop

ROUNDS = 3
FILL = f"""
from tests import factories as make
from tests.bulletins.conftest import danger, on_a_trike
from tracker.actions.bulletins import write_bulletin
writer = make.UserFactory(username="writer")
for name in ("ada", "ben"):
    make.UserFactory(username=name)
shock = make.PartTypeFactory(kind="air_shock", part_number="LF-SHOCK")
for number in range({ROUNDS}):
    on_a_trike(shock, f"S{{number}}", batch="K-17")
    write_bulletin(values=danger(shock), by=writer, now=make.NOW)
"""
AT_ONCE = """
import json, os, sys
from datetime import timedelta
from pathlib import Path
from django.db import DatabaseError
from services.errors import Refusal
from tests.factories import NOW
from tests.processes import begin_together
from tests.releasing import passed
from tracker.actions import bench, bulletins, job_cards, signing
from tracker.actions.release import sign_release
from tracker.models import Bulletin, BulletinPart, Fitment, Trike, User

number, folder = int(sys.argv[1]), Path(os.environ["TRACKER_DATA_DIR"])
by = User.objects.get(username=("ada", "ben", "writer")[number])
rows = list(Bulletin.objects.order_by("pk"))
said = []

def do(action, **values):
    try:
        action(now=NOW + timedelta(hours=1), **values)
    except (Refusal, DatabaseError) as error:
        return type(error).__name__
    return "done"
"""
RELEASE = f"""
for turn in range({ROUNDS}):
    begin_together(folder / f"release-{{turn}}", 2)
    said.append(do(bulletins.release_bulletin, bulletin_id=rows[turn].pk, version=rows[turn].version, by=by))
print(json.dumps(said))
"""
SIGN_MOVE_MATCH = f"""
trikes = list(Trike.objects.order_by("pk"))
for turn in range({ROUNDS}):
    trike = trikes[turn]
    part = Fitment.objects.get(trike=trike, position="rear-shock").component
    under = BulletinPart.objects.filter(component=part).order_by("pk")
    if number == 0:
        card = job_cards.open_card(trike_id=trike.pk, by=by, now=NOW)
        job_cards.take_odometer(card_id=card.pk, value=100, by=by, now=NOW)
        for task in card.tasks.filter(task__startswith="bulletin:"):
            bench.set_task(card_id=card.pk, component_id=part.pk, task=task.task, outcome="done", by=by, now=NOW)
        sign_release(card_id=card.pk, version=None, answers=passed(card), by=by, now=NOW)
    begin_together(folder / f"work-{{turn}}", 3)
    if number == 0:
        said.append(do(signing.sign_card, card_id=card.pk, version=None, by=by))
    elif number == 1:
        for row in under:
            said.append(do(bulletins.move_part, part_id=row.pk, state="refused", note="not now", by=by))
    else:
        for row in rows:
            said.append(do(bulletins.match_again, bulletin_id=row.pk))
print(json.dumps(said))
"""
LOOK = """
import json
from tracker.models import *
from tracker.queries import due, logbook
print(json.dumps({
    "released": Bulletin.objects.filter(state="released").count(),
    "joined": BulletinStep.objects.filter(before="").count(),
    "parts": BulletinPart.objects.count(),
    "letters": OutboxMessage.objects.count(),
    "done": BulletinPart.objects.filter(state="corrected").count(),
    "broken": len(list(logbook.broken_chains())),
    "differences": due.rebuild_differences(),
}))
"""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """A database that processes share, with a draft for each round and a trike for each."""
    with filled_workshop(tmp_path_factory.mktemp("bulletins"), FILL) as workshop:
        yield workshop


def test_of_two_releases_at_once_one_counts(workshop):
    ada, ben = workshop.told_at_once(AT_ONCE + RELEASE, 2)
    assert [sorted(pair) for pair in zip(ada, ben, strict=True)] == [["StaleVersion", "done"]] * ROUNDS
    seen = workshop.told(LOOK)
    assert seen["released"] == ROUNDS
    assert seen["joined"] == seen["parts"] == seen["letters"] == ROUNDS * ROUNDS


def test_cards_moves_and_the_night_do_not_wait_for_each_other_in_a_circle(workshop):
    signed, moved, matched = workshop.told_at_once(AT_ONCE + SIGN_MOVE_MATCH, 3)
    assert set(signed) == {"done"}
    assert set(moved) <= {"done", "BadStep"}
    assert set(matched) == {"done"}
    seen = workshop.told(LOOK)
    assert seen["done"] == ROUNDS * ROUNDS
    assert (seen["broken"], seen["differences"]) == (0, [])
