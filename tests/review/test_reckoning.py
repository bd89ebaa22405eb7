"""The review from the record to stored findings: planted problems first, nothing where nothing is, only what changed."""

import pytest
from celery import current_app
from django.db import IntegrityError, transaction

from tests import factories as make
from tests.factories import NOW
from tests.simulator.failing import BAD_BATCH, FAULTY_VERSION, PLANTED, WEAR_OUT, failing_fleet
from tests.simulator.failing_rows import write_rows
from tracker.actions.review import LOST_AFTER, ask_for_review, begin_review, give_up_review, keep_review
from tracker.models import Component, Failure, Fitment, ReviewFinding, ReviewRun
from tracker.queries.review import finding_of, findings, metrics_of, review_stand
from tracker.queries.review_reckoning import reckon

pytestmark = pytest.mark.django_db
PLANTED_SEED, QUIET_SEED = 108, 3  # fixed fleets; how often others show the same: python -m tests.scores review


@pytest.fixture
def standing_clock(time_machine):
    time_machine.move_to(NOW, tick=False)


def review(now=NOW) -> ReviewRun:
    ask_for_review(now=now)
    run = begin_review(now=now)
    return keep_review(run_id=run.pk, reckoned=reckon(now), now=now)


def small_fleet(seed: int = 5):
    return write_rows(failing_fleet(seed, trikes=60, kinds=("display", "chain")))


def run_task(name: str):
    current_app.loader.import_default_modules()
    return current_app.tasks[name].apply(throw=True).result


def test_three_planted_problems_stand_first_and_nothing_else_is_named():
    kinds = write_rows(failing_fleet(PLANTED_SEED, plants=PLANTED))
    review()
    named = {row.part_type_id: row for row in findings(only_to_do=True)}
    planted = {plant: named[kinds[plant.part_type].pk] for plant in PLANTED}
    assert len(named) == 3
    assert sorted(row.rank for row in planted.values()) == [1, 2, 3]
    assert (planted[BAD_BATCH].action, planted[WEAR_OUT].action) == ("stop-fitting", "replace")
    assert f"batch {BAD_BATCH.batch}" in planted[BAD_BATCH].verdict
    assert f"firmware {FAULTY_VERSION.firmware}" in planted[FAULTY_VERSION].verdict
    assert planted[WEAR_OUT].verdict.startswith("Wear-out")


def test_a_fleet_without_a_problem_is_told_so():
    write_rows(failing_fleet(QUIET_SEED))
    run = review()
    assert (findings(only_to_do=True).count(), findings().count()) == (0, 26)
    assert run.comparisons > 400


def test_a_review_says_when_and_from_what_it_was_reckoned():
    small_fleet()
    run = review()
    assert (run.state, run.finished_at, str(run.until)) == ("done", NOW, "2026-05-01")
    assert (run.part_types, run.components, run.failures) == (4, Component.objects.count(), Failure.objects.count())
    assert run.reckoned == 8  # each part type in km and in days
    assert review_stand().done == run
    assert review_stand().coming is None


def test_a_part_type_is_told_in_its_main_metric_and_can_be_asked_for_in_another():
    kinds = small_fleet()
    review()
    display = next(kind.pk for kind in kinds.values() if kind.kind == "display")
    assert (finding_of(display).metric, finding_of(display, "km").metric) == ("days", "km")
    assert metrics_of(display) == ["days", "km"]
    assert finding_of(display, "cycles") is None
    assert sorted(row.rank for row in findings()) == [1, 2, 3, 4]


def test_the_same_lives_are_not_reckoned_again_and_give_the_same_findings():
    small_fleet()
    first = review()
    told = list(ReviewFinding.objects.order_by("pk").values("pk", "payload", "rank", "verdict", "q"))
    again = review()
    assert (again.reckoned, again.data_version) == (0, first.data_version)
    assert list(ReviewFinding.objects.order_by("pk").values("pk", "payload", "rank", "verdict", "q")) == told


def test_only_the_part_type_whose_lives_changed_is_reckoned_again():
    kinds = small_fleet()
    first = review()
    chain = next(kind for kind in kinds.values() if kind.kind == "chain")
    fitted = Fitment.objects.filter(component__part_type=chain, removed_at=None).first()
    Failure.objects.create(
        component=fitted.component, trike=fitted.trike, mode="breakage", happened_at="2026-04-02T10:00Z"
    )
    again = review()
    assert again.reckoned == 2  # km and days
    assert again.data_version != first.data_version


def test_a_batch_told_apart_leaves_what_is_kept_for_the_next_review_as_it_was_by_itself():
    kinds = write_rows(failing_fleet(108, plants=(BAD_BATCH,), kinds=("air_shock",)))
    review()
    told = finding_of(kinds[BAD_BATCH.part_type].pk).payload
    assert told["study"]["life"]["mixed"]
    assert not told["alone"]["life"]["mixed"]
    assert told["alone"]["ahead"] != told["study"]["ahead"]
    assert review().reckoned == 0
    assert finding_of(kinds[BAD_BATCH.part_type].pk).payload == told


def test_a_part_type_whose_pieces_are_gone_leaves_the_review():
    small_fleet()
    review()
    kind = finding_of(findings().first().part_type_id).part_type
    Failure.objects.filter(component__part_type=kind).delete()
    Fitment.objects.filter(component__part_type=kind).delete()
    review()
    assert finding_of(kind.pk) is None


def test_a_finding_keeps_the_day_since_when_something_is_to_be_done():
    small_fleet()
    review()
    row = findings().last()
    assert row.flagged_since is None
    ReviewFinding.objects.filter(pk=row.pk).update(flagged_since="2026-02-01")
    review()
    row.refresh_from_db()
    assert (row.action, row.flagged_since) == ("none", None)


def test_a_larger_fleet_asks_no_more_queries(assert_flat_queries):
    small_fleet()

    def grow() -> None:
        trike = make.TrikeFactory()
        for row in make.PartTypeFactory.create_batch(3, kind="idler"):
            component = make.ComponentFactory(part_type=row)
            make.FitmentFactory(component=component, trike=trike, position=f"idler{row.pk}"[:20])

    assert_flat_queries(lambda: reckon(NOW), grow)


def test_who_asks_while_one_waits_gets_that_one():
    first = ask_for_review(now=NOW, by=make.UserFactory())
    assert ask_for_review(now=NOW) == first
    assert review_stand().coming == first
    with pytest.raises(IntegrityError), transaction.atomic():
        ReviewRun.objects.create(asked_at=NOW)


def test_a_review_is_taken_up_once_and_again_when_its_worker_was_lost():
    run = ask_for_review(now=NOW)
    assert begin_review(now=NOW) == run
    assert begin_review(now=NOW) is None
    assert begin_review(now=NOW + 2 * LOST_AFTER) == run


def test_what_was_given_up_is_not_kept_and_the_findings_before_it_stand():
    small_fleet()
    review()
    before = list(ReviewFinding.objects.order_by("pk").values_list("pk", "run_id"))
    ask_for_review(now=NOW)
    run = begin_review(now=NOW)
    give_up_review(run_id=run.pk, note="no", now=NOW)
    assert keep_review(run_id=run.pk, reckoned=reckon(NOW), now=NOW) is None
    assert list(ReviewFinding.objects.order_by("pk").values_list("pk", "run_id")) == before
    assert review_stand().done.pk == before[0][1]


def test_the_night_asks_and_works_and_a_second_worker_finds_nothing(standing_clock):
    small_fleet()
    assert run_task("tracker.nightly_review") == 1
    assert run_task("tracker.work_reviews") == 0
    assert ReviewRun.objects.get().asked_by is None


def test_what_a_reviewer_asks_for_is_worked_by_the_next_round(standing_clock):
    small_fleet()
    who = make.UserFactory()
    ask_for_review(now=NOW, by=who)
    assert run_task("tracker.work_reviews") == 1
    assert (ReviewRun.objects.get().asked_by, ReviewRun.objects.get().state) == (who, "done")


def test_an_empty_record_has_a_review_without_findings():
    assert (review().part_types, findings().count()) == (0, 0)
