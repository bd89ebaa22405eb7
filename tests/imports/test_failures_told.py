"""Failures told in a service book: optional columns, in the words of the lists or their codes."""

import pytest

from services.failures import CAUSES, FOUND, MODES
from tests.imports.register import bring, furnish, job
from tracker.models import Failure, JobCard, LogEntry
from tracker.queries.logbook import broken_chains

pytestmark = pytest.mark.django_db

SWAP = {"Position": "chain", "Old serial": "C1", "New serial": "S1", "Old part fate": "scrapped"}
TOLD = {
    "Failure mode": "broken",
    "Failure cause": "material or making",
    "Found": "broke down on the road",
    "Warranty": "yes",
}


@pytest.fixture(autouse=True)
def trikes():
    furnish(1)


def bad(report) -> list[tuple[str, str]]:
    assert not JobCard.objects.exists()
    return [(row.code, row.field) for row in report.rows if row.verdict == "bad"]


def test_the_part_that_leaves_is_the_one_that_failed():
    bring("service_book", job(1, **SWAP, **TOLD))
    row = Failure.objects.get()
    assert (row.component.serial, row.mode, row.cause, row.found, row.warranty) == (
        "C1", "breakage", "material", "breakdown", True,
    )  # fmt: skip
    assert (row.card, row.happened_at) == (JobCard.objects.get(), JobCard.objects.get().worked_at)


def test_it_stands_in_the_logbook_as_if_typed_at_the_desk():
    bring("service_book", job(1, **SWAP, **TOLD))
    entry = LogEntry.objects.get(kind="failure")
    assert entry.body == {
        "mode": "breakage", "cause": "material", "found": "breakdown", "warranty": True, "card": "J25-00001",
    }  # fmt: skip
    assert list(broken_chains()) == []


def test_a_part_that_stays_is_named_by_its_position_or_by_the_task_done_on_it():
    bring(
        "service_book",
        job(1, Task="chain_check", **{"Failure mode": "noise"}),
        job(1, Position="battery", **{"Failure mode": "low_output", "Mechanic": "", "Odometer": "", "Unit": ""}),
    )
    assert set(Failure.objects.values_list("component__serial", "mode")) == {("C1", "noise"), ("B1", "low_output")}


@pytest.mark.parametrize(("column", "words"), [("Failure mode", MODES), ("Failure cause", CAUSES), ("Found", FOUND)])
def test_every_word_of_the_lists_is_understood(column, words):
    rows = [
        job(1, Job=f"J25-1{place:04d}", **SWAP | {"New serial": ""}, **{"Failure mode": "broken", column: str(word)})
        for place, word in enumerate(words.values())
    ]
    for row in rows[1:]:
        row.update({"Old serial": "", "Old part fate": "", "Position": "battery"})
    bring("service_book", *rows)
    field = {"Failure mode": "mode", "Failure cause": "cause", "Found": "found"}[column]
    assert set(Failure.objects.values_list(field, flat=True)) == set(words)


@pytest.mark.parametrize(
    ("told", "problem"),
    [
        ({"Failure mode": "exploded", "Position": "chain"}, ("not-a-choice", "Failure mode")),
        ({"Failure cause": "design", "Position": "chain"}, ("missing", "Failure mode")),
        ({"Failure mode": "broken"}, ("missing", "Position")),
        ({"Failure mode": "broken", "Position": "boom motor"}, ("not-known", "Position")),
        ({"Failure mode": "broken", "Task": "elastomer_inspection"}, ("missing", "Position")),
        ({"Failure mode": "broken", "Position": "chain", "Warranty": "perhaps"}, ("not-a-choice", "Warranty")),
    ],
)
def test_what_cannot_be_is_refused_naming_the_column(told, problem):
    assert problem in bad(bring("service_book", job(1, **told)))


def test_one_part_fails_once_on_a_job():
    again = job(1, Position="chain", **{"Failure mode": "noise", "Mechanic": "", "Odometer": "", "Unit": ""})
    assert ("clash", "Failure mode") in bad(bring("service_book", job(1, **SWAP, **TOLD), again))
