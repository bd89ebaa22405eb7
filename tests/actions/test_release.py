"""The release: demanded by work, every line answered, sealed by the card's signature, void when work is added."""

import pytest

from tests import factories as make
from tests.releasing import card_on_the_bench, done, part_of, passed, release_if_demanded, swapped
from tracker.actions import bench, signing
from tracker.actions.refusals import CardAlreadySigned, StaleVersion, WrongState
from tracker.actions.release import LineAnswer, sign_release, take_back_release
from tracker.actions.release_refusals import AlreadyReleased, ReleaseFailed, ReleaseIncomplete, ReleaseMissing
from tracker.models import JobCard, LogEntry, ReleaseCheck
from tracker.queries.logbook import broken_chains
from tracker.queries.release import release_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def mika():
    return make.UserFactory(display_name="Mika")


@pytest.fixture
def card():
    """A card whose left brake was checked."""
    card = card_on_the_bench()
    done(card, "brake-left", "brakes_check")
    return card


def release(card, by, now, version=None, **other) -> JobCard:
    return sign_release(card_id=card.pk, version=version, answers=passed(card) | other, by=by, now=now)


def sign(card, by, now) -> JobCard:
    return signing.sign_card(card_id=card.pk, version=None, by=by, now=now)


def test_the_card_says_which_work_demands_which_release(card):
    (demand,) = release_of(card).demands
    assert (demand.area.title, demand.because) == ("Brakes", ("Brake check (left brake)",))


def test_a_card_cannot_be_signed_while_its_release_is_missing(card, mika, now):
    with pytest.raises(ReleaseMissing) as refusal:
        sign(card, mika, now)
    assert (refusal.value.code, refusal.value.field) == ("release-missing", "release")
    assert "Brake check (left brake)" in refusal.value.message
    assert "brakes" in refusal.value.remedy
    assert JobCard.objects.get().state == "draft"


def test_work_that_touches_nothing_of_safety_needs_no_release(mika, now):
    card = card_on_the_bench()
    done(card, "rear-shock", "shock_air_check")
    assert release_of(card).state == "not_demanded"
    assert sign(card, mika, now).state == "signed"


def test_a_task_that_is_only_proposed_or_deferred_demands_nothing(now):
    card = card_on_the_bench()
    for outcome, place in (("proposed", "brake-left"), ("deferred", "brake-right")):
        make.JobTaskFactory(card=card, component=part_of(card, place), task="brakes_check", outcome=outcome)
    assert release_of(card).demands == ()


def test_a_signed_release_stands_on_the_card_with_who_and_when(card, mika, now):
    release(card, mika, now)
    card.refresh_from_db()
    assert (card.released_by, card.released_at, card.version) == (mika, now, 2)
    assert release_of(card).state == "signed"


def test_who_released_it_may_sign_it(card, mika, now):
    release(card, mika, now)
    assert sign(card, mika, now).signed_by == mika


def test_the_signed_entry_holds_the_answers_who_released_and_when(card, mika, now):
    other = make.UserFactory()
    release(card, other, now, brakes_hold=LineAnswer(True, "after bedding in"))
    sign(card, mika, now)
    body = LogEntry.objects.get(kind="job_card_signed").body["release"]
    assert body["checks"][0] == ["brakes_hold", True, "after bedding in"]
    assert [code for code, _, _ in body["checks"]] == ["brakes_hold", "brakes_stop", "brakes_fixed", "test_ride"]
    assert (body["by"], body["at"]) == (other.pk, "2026-05-01T10:00:00.000000Z")
    assert body["for"] == ["Brake check (left brake)"]
    assert list(broken_chains()) == []


def test_a_card_without_release_and_photos_says_nothing_of_them(mika, now):
    card = card_on_the_bench()
    done(card, "chain", "chain_check")
    sign(card, mika, now)
    assert {"release", "photos"}.isdisjoint(LogEntry.objects.get(kind="job_card_signed").body)


def test_a_line_without_an_answer_is_named(card, mika, now):
    with pytest.raises(ReleaseIncomplete) as refusal:
        release(card, mika, now, brakes_stop=LineAnswer(None))
    assert [(problem.name, problem.code) for problem in refusal.value.problems] == [("brakes_stop", "not-answered")]


def test_a_line_nobody_asked_for_is_named(card, mika, now):
    with pytest.raises(ReleaseIncomplete) as refusal:
        release(card, mika, now, hinge_locks=LineAnswer(True))
    assert [(problem.name, problem.code) for problem in refusal.value.problems] == [("hinge_locks", "not-in-list")]


def test_a_failed_line_refuses_the_release_and_says_what_to_do(card, mika, now):
    with pytest.raises(ReleaseFailed) as refusal:
        release(card, mika, now, brakes_hold=LineAnswer(False))
    assert [problem.name for problem in refusal.value.problems] == ["brakes_hold"]
    assert "keep it here" in refusal.value.remedy
    assert not ReleaseCheck.objects.exists()


def test_what_failed_is_said_before_what_is_missing(card, mika, now):
    with pytest.raises(ReleaseFailed):
        release(card, mika, now, brakes_hold=LineAnswer(False), test_ride=LineAnswer(None))


def test_a_release_nobody_demands_is_refused(mika, now):
    card = card_on_the_bench()
    with pytest.raises(WrongState, match="Nothing on this card demands"):
        sign_release(card_id=card.pk, version=None, answers={}, by=mika, now=now)


def test_a_newly_done_brake_task_voids_the_release_and_is_named(card, mika, now):
    release(card, mika, now)
    done(card, "brake-right", "brakes_check")
    assert release_of(JobCard.objects.get()).state == "outdated"
    with pytest.raises(ReleaseMissing, match=r"after the release was signed: Brake check \(right brake\)"):
        sign(card, mika, now)


def test_a_new_swap_in_an_area_released_already_voids_the_release(card, mika, now):
    release(card, mika, now)
    new = swapped(card, "brake-left", "brake")
    assert release_of(JobCard.objects.get()).uncovered == (f"Swap: left brake, {part_of(card, 'brake-left')} → {new}",)
    with pytest.raises(ReleaseMissing):
        sign(card, mika, now)


def test_work_in_another_area_names_that_area(card, mika, now):
    release(card, mika, now)
    done(card, "frame", "toe_in_check")
    assert release_of(JobCard.objects.get()).uncovered_areas == ("Steering",)


def test_a_failure_recorded_after_the_release_voids_it(card, mika, now):
    release(card, mika, now)
    bench.record_failure(card_id=card.pk, component_id=part_of(card, "chain").pk, mode="wear", by=mika, now=now)
    assert release_of(JobCard.objects.get()).state == "outdated"


def test_the_release_is_signed_anew_for_all_of_the_work(card, mika, now):
    release(card, mika, now)
    done(card, "frame", "toe_in_check")
    release(card, mika, now)
    found = release_of(JobCard.objects.get())
    assert (found.state, found.released) == ("signed", ("Brake check (left brake)", "Toe-in"))
    assert sign(card, mika, now).state == "signed"


def test_work_taken_off_again_leaves_the_release_standing(card, mika, now):
    done(card, "brake-right", "brakes_check")
    release(card, mika, now)
    bench.drop_task(card_id=card.pk, component_id=part_of(card, "brake-right").pk, task="brakes_check", now=now)
    assert release_of(JobCard.objects.get()).state == "signed"


def test_a_note_or_a_measurement_leaves_the_release_standing(card, mika, now):
    release(card, mika, now)
    brake = part_of(card, "brake-left")
    bench.record_measurement(card_id=card.pk, component_id=brake.pk, quantity_code="pad_mm", value=2.5, now=now)
    assert release_of(JobCard.objects.get()).state == "signed"


def test_a_release_that_covers_everything_is_not_signed_twice(card, mika, now):
    release(card, mika, now)
    with pytest.raises(AlreadyReleased, match="Mika signed the release"):
        release(card, make.UserFactory(), now)
    assert JobCard.objects.get().released_by == mika


def test_a_release_read_at_an_older_version_is_stale(card, mika, now):
    with pytest.raises(StaleVersion):
        release(card, mika, now, version=99)


def test_a_release_taken_back_is_missing_again(card, mika, now):
    release(card, mika, now)
    take_back_release(card_id=card.pk, by=mika, now=now)
    assert release_of(JobCard.objects.get()).state == "missing"
    assert not ReleaseCheck.objects.exists()


def test_there_is_nothing_to_take_back_before(card, mika, now):
    with pytest.raises(WrongState, match="No release is signed"):
        take_back_release(card_id=card.pk, by=mika, now=now)


def test_a_signed_card_takes_no_release_and_gives_none_back(card, mika, now):
    release(card, mika, now)
    sign(card, mika, now)
    for act in (lambda: release(card, mika, now), lambda: take_back_release(card_id=card.pk, by=mika, now=now)):
        with pytest.raises(CardAlreadySigned):
            act()


def test_a_signed_cards_release_is_told_as_it_was_signed(card, mika, now):
    swapped(card, "brake-right", "brake")
    release_if_demanded(card, now, mika)
    sign(card, mika, now)
    found = release_of(JobCard.objects.get())
    assert (found.state, len(found.answers), len(found.released)) == ("signed", 4, 2)


def test_the_same_queries_tell_a_release_of_2_and_22_pieces_of_work(card, mika, now, assert_flat_queries):
    def more() -> None:
        for task in ("toe_in_check", "hinge_check", "wheels_check", "tyres_check", "quick_releases_check"):
            done(card, "frame", task)
        bench.record_failure(card_id=card.pk, component_id=part_of(card, "brake-left").pk, mode="wear", now=now)
        swapped(card, "chain", "chain")

    assert_flat_queries(lambda: release_of(card), more)
