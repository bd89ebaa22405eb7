"""Two workers after the same files at the same moment, as real processes on a real database: one works each file."""

import json

import pytest

from tests.processes import Workshop, filled_workshop

FILES, ROWS, WORKERS = 12, 15, 2

FILL = f"""
from django.utils import timezone
from tests.imports.register import bring, part
from tests.imports.workbooks import file_of
from tracker.actions.imports import upload
bring("catalogue", {{"Part number": "LF-C1", "Kind": "chain", "Maker": "Hazelwick Parts", "Name": "chain one",
                     "Rated values": part("chain", "C")["Rated values"]}}, now=timezone.now())
for file in range({FILES}):
    rows = [part("chain", f"C{{file}}-{{row}}") for row in range({ROWS})]
    upload(kind="parts", file_name="parts.csv", content=file_of("parts", *rows), now=timezone.now())
"""

# The workers begin together; then each goes for every file, in the same order as the other.
WORK = """
import json
from pathlib import Path
from django.utils import timezone
from tests.processes import begin_together
from tracker.actions import imports
from tracker.models import ImportBatch
ids, opened = list(ImportBatch.objects.filter(kind="parts").order_by("pk").values_list("pk", flat=True)), []
read = imports.open_sheet
def noted(*args):
    opened.append(pk)
    return read(*args)
imports.open_sheet = noted
begin_together(Path(%(gate)r), %(workers)d)
for pk in ids:
    imports.%(step)s(pk, timezone.now())
print(json.dumps(opened))
"""

CONFIRM = """
from django.utils import timezone
from tracker.actions.imports import confirm
from tracker.models import ImportBatch
for pk in ImportBatch.objects.filter(kind="parts").values_list("pk", flat=True):
    confirm(batch_id=pk, now=timezone.now())
"""

TELL = """
import json
from tracker.models import Component, ImportBatch, ImportRow
print(json.dumps({
    "states": sorted(set(ImportBatch.objects.filter(kind="parts").values_list("state", flat=True))),
    "ids": list(ImportBatch.objects.filter(kind="parts").order_by("pk").values_list("pk", flat=True)),
    "verdicts": ImportRow.objects.filter(batch__kind="parts").count(),
    "components": Component.objects.count(),
}))
"""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """Uploaded files that wait for a worker, in a database that several processes share."""
    with filled_workshop(tmp_path_factory.mktemp("imports-at-once"), FILL) as workshop:
        yield workshop


def work(workshop: Workshop, step: str) -> tuple[list[int], dict]:
    """Let the workers go for all files at once; return the files they opened between them, and what is stored."""
    script = workshop.script(WORK % {"gate": str(workshop.folder / step), "workers": WORKERS, "step": step})
    said = workshop.run_at_once(*[script] * WORKERS)
    opened = [pk for words in said for pk in json.loads(words.splitlines()[-1])]
    return sorted(opened), workshop.told(TELL)


@pytest.fixture(scope="module")
def checked(workshop) -> tuple[list[int], dict]:
    return work(workshop, "check_batch")


@pytest.fixture(scope="module")
def written(workshop, checked) -> tuple[list[int], dict]:
    workshop.run(*workshop.script(CONFIRM))
    return work(workshop, "apply_batch")


def test_each_file_is_checked_by_exactly_one_of_two_workers(checked):
    opened, told = checked
    assert opened == told["ids"]
    assert (told["states"], told["verdicts"], told["components"]) == (["checked"], FILES * ROWS, 0)


def test_each_file_is_written_by_exactly_one_of_two_workers(written):
    opened, told = written
    assert opened == told["ids"]
    assert (told["states"], told["components"]) == (["applied"], FILES * ROWS)
