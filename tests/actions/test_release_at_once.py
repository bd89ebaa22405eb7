"""Two mechanics release one card at the same moment, and one adds a photo while another signs: real processes."""

import pytest

from tests.processes import Workshop, filled_workshop

ROUNDS = 6

FILL = f"""
from tests.releasing import card_on_the_bench, done
from tests import factories as make
for name in ("ada", "ben"):
    make.UserFactory(username=name)
for _ in range({2 * ROUNDS}):
    done(card_on_the_bench(), "brake-left", "brakes_check")
"""

AT_ONCE = """
import json, os, sys
from pathlib import Path
from django.db import DatabaseError
from services.errors import Refusal
from tests import pictures
from tests.factories import NOW
from tests.processes import begin_together
from tests.releasing import passed
from tracker.actions import photos, signing
from tracker.actions.release import sign_release
from tracker.models import JobCard, User

number, folder = int(sys.argv[1]), Path(os.environ["TRACKER_DATA_DIR"])
by = User.objects.get(username=("ada", "ben")[number])
cards = list(JobCard.objects.order_by("pk"))

def do(action, **values):
    try:
        action(by=by, now=NOW, **values)
    except (Refusal, DatabaseError) as error:
        return type(error).__name__
    return "done"
"""

RELEASE = f"""
said = []
for turn in range({ROUNDS}):
    card = cards[turn]
    answers, version = passed(card), card.version
    begin_together(folder / f"release-{{turn}}", 2)
    said.append(do(sign_release, card_id=card.pk, version=version, answers=answers))
print(json.dumps(said))
"""

PHOTO_OR_SIGN = f"""
said = []
for turn in range({ROUNDS}):
    card = cards[{ROUNDS} + turn]
    if number:
        do(sign_release, card_id=card.pk, version=None, answers=passed(card))
    begin_together(folder / f"sign-{{turn}}", 2)
    if number:
        said.append(do(signing.sign_card, card_id=card.pk, version=None))
    else:
        said.append(do(photos.add_photo, card_id=card.pk, content=pictures.jpeg(64 + turn, 48)))
print(json.dumps(said))
"""

LOOK = """
import json
from tracker.models import *
from tracker.queries import logbook, photos
from tracker.actions.photo_files import folder
print(json.dumps({
    "released": JobCard.objects.filter(released_at__isnull=False).count(),
    "lines": ReleaseCheck.objects.count(),
    "signed": JobCard.objects.filter(state="signed").count(),
    "photos": Photo.objects.count(),
    "files": len(list(folder().iterdir())),
    "faults": [fault.why for fault in photos.photo_faults()],
    "broken": len(list(logbook.broken_chains())),
}))
"""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """A database that two processes share, with cards whose work demands a release."""
    with filled_workshop(tmp_path_factory.mktemp("two-releases"), FILL) as workshop:
        yield workshop


def both(workshop: Workshop, what: str) -> list[list[str]]:
    """Run `what` in two processes that meet before each turn; return what each of them got."""
    return workshop.told_at_once(AT_ONCE + what, 2)


def test_of_two_releases_at_once_one_is_signed_and_the_other_told_so(workshop):
    ada, ben = both(workshop, RELEASE)
    assert [sorted(pair) for pair in zip(ada, ben, strict=True)] == [["StaleVersion", "done"]] * ROUNDS
    seen = workshop.told(LOOK)
    assert (seen["released"], seen["lines"]) == (ROUNDS, 5 * ROUNDS)  # four lines and the work they speak of


def test_a_photo_that_comes_as_the_card_is_signed_is_in_the_entry_or_refused(workshop):
    added, signed = both(workshop, PHOTO_OR_SIGN)
    assert signed == ["done"] * ROUNDS
    assert set(added) <= {"done", "CardAlreadySigned"}
    seen = workshop.told(LOOK)
    assert seen["signed"] == ROUNDS
    assert seen["photos"] == seen["files"] == added.count("done")
    assert (seen["faults"], seen["broken"]) == ([], 0)
