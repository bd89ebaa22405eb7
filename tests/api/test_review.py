"""The failure review over the API: in the order of evidence, one part type whole, and what is refused."""

import pytest

from tests.api.conftest import machine, person
from tests.factories import NOW
from tests.simulator.failing import failing_fleet
from tests.simulator.failing_rows import write_rows
from tracker.actions.review import ask_for_review, begin_review, keep_review
from tracker.models import PartType
from tracker.queries.review_reckoning import reckon

pytestmark = pytest.mark.django_db


@pytest.fixture
def kinds() -> list[PartType]:
    """Two displays and two chains, reviewed."""
    made = write_rows(failing_fleet(5, trikes=30, kinds=("display", "chain")))
    ask_for_review(now=NOW)
    run = begin_review(now=NOW)
    keep_review(run_id=run.pk, reckoned=reckon(NOW), now=NOW)
    return list(made.values())


@pytest.mark.parametrize("role", ["desk", "mechanic", "reviewer", "admin"])
def test_everybody_in_the_workshop_reads_the_review(kinds, role):
    answer = person(role).get("review")
    assert answer.status_code == 200
    assert [row["rank"] for row in answer.json()["results"]] == [1, 2, 3, 4]


def test_a_row_tells_what_a_list_needs(kinds):
    row = machine("read").get("review").json()["results"][0]
    assert {"part_number", "verdict", "action", "do", "counts", "rate", "q", "until", "reckoned_at"} <= set(row)
    assert row["until"] == "2026-05-01"
    assert row["counts"]["parts"] >= row["counts"]["failed"] > 0
    assert row["rate"]["low"] < row["rate"]["rate"] < row["rate"]["high"]
    assert "study" not in row


def test_each_part_type_is_told_in_its_main_metric_or_all_in_one(kinds):
    caller = machine("read")
    metrics = {row["kind"]: row["metric"] for row in caller.get("review").json()["results"]}
    assert metrics == {"display": "days", "chain": "km"}
    assert {row["metric"] for row in caller.get("review", metric="km").json()["results"]} == {"km"}
    assert [row["kind"] for row in caller.get("review", kind="chain").json()["results"]] == ["chain"] * 2


def test_one_part_type_comes_with_everything_behind_it(kinds):
    chain = next(kind for kind in kinds if kind.kind == "chain")
    answer = machine("read").get(f"review/{chain.pk}")
    assert set(answer.json()["study"]) == {
        "counts", "rate", "life", "survival", "repairs", "comparisons", "months", "warning", "ahead", "machines", "views",
    }  # fmt: skip
    assert answer.json()["finding"]["rank"] == answer.json()["rank"]
    assert answer["ETag"].startswith('"')
    assert machine("read").get(f"review/{chain.pk}", metric="days").json()["metric"] == "days"


@pytest.mark.parametrize(
    ("path", "query", "status"),
    [
        ("review/987654", {}, 404), ("review/x", {}, 404), ("review", {"metric": "miles"}, 400),
        ("review", {"nonsense": "1"}, 400), ("review/{pk}", {"metric": "miles"}, 400),
        ("review/{pk}", {"kind": "chain"}, 400), ("review/{pk}", {"metric": "cycles"}, 404),
    ],
)  # fmt: skip
def test_what_is_not_there_or_not_known_is_refused(kinds, path, query, status):
    answer = machine("read").get(path.format(pk=kinds[0].pk), **query)
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"


def test_a_longer_review_asks_no_more_queries(kinds, assert_flat_queries):
    caller = machine("read")

    def grow() -> None:
        write_rows(failing_fleet(9, trikes=20, kinds=("idler", "brake")), name="MORE")
        ask_for_review(now=NOW)
        keep_review(run_id=begin_review(now=NOW).pk, reckoned=reckon(NOW), now=NOW)

    assert_flat_queries(lambda: caller.get("review"), grow)
