"""An owner is erased while dispatchers send their letters: whoever wins, nothing of theirs is left."""

import pytest

from tests.processes import filled_workshop

LETTERS = 40
FILL = f"""
from django.utils import timezone
from tests import factories as make
owned = make.OwnershipFactory(owner__name="Zora Quillfeather", owner__email="quill@example.org")
for number in range({LETTERS}):
    make.OutboxMessageFactory(
        trike=owned.trike, owner=owned.owner, kind="safety", stage="", not_before=timezone.now(),
        payload={{"subject": "Stop", "paragraphs": ["Dear Quillfeather"]}},
    )
"""
AT_ONCE = """
import json, os, random, sys, time
from pathlib import Path
from django.utils import timezone
from tests.processes import begin_together
from tracker.actions.erasing import erase_owner
from tracker.actions.outbox import dispatch_one
from tracker.actions.refusals import WrongState
from tracker.channels import chosen_channel
from tracker.models import OutboxMessage, Owner
number, tries = int(sys.argv[1]), 0
begin_together(Path(os.environ["TRACKER_DATA_DIR"]) / "gate", 3)
if number == 0:
    while OutboxMessage.objects.filter(state="sent").count() < 5:
        time.sleep(0.01)
    while True:
        tries += 1
        try:
            erase_owner(owner_id=Owner.objects.get().pk, by=None, now=timezone.now())
            break
        except WrongState:
            time.sleep(0.01)
else:
    while dispatch_one(channel=chosen_channel(), now=timezone.now(), rng=random.Random(number)) is not None:
        tries += 1
print(json.dumps(tries))
"""
LOOK = """
import json, os
from pathlib import Path
from tracker.models import Owner, OutboxMessage
folder = Path(os.environ["TRACKER_DATA_DIR"]) / "mail"
print(json.dumps({
    "states": sorted(set(OutboxMessage.objects.values_list("state", flat=True))),
    "kept": list(OutboxMessage.objects.exclude(payload={}).values_list("payload", flat=True)),
    "files": [path.name for path in folder.iterdir()] if folder.exists() else [],
    "owner": Owner.objects.values_list("name", "email").get(),
}))
"""


@pytest.fixture
def shop(tmp_path):
    """A workshop whose owner is about to get many letters."""
    settings = {"QUIET_FROM_HOUR": "24", "QUIET_UNTIL_HOUR": "0", "SMTP_HOST": ""}
    with filled_workshop(tmp_path, FILL, **settings) as workshop:
        yield workshop


def test_nothing_is_left_however_the_letters_and_the_erasing_fall_together(shop):
    tries, *sent = shop.told_at_once(AT_ONCE, 3)
    found = shop.told(LOOK)
    print(f"erased at try {tries}; letters dealt with {sent}; states {found['states']}")
    assert found["owner"] == ["Erased owner", ""]
    assert set(found["states"]) <= {"sent", "dropped"}
    assert (found["kept"], found["files"]) == ([], [])
