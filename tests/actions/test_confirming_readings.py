"""The one question at entry, and accepted readings that later ones speak against. Bounds: services/entry_question.py."""

from datetime import timedelta

import pytest

from services.units import KM_PER_MILE
from tests import factories as make
from tests.factories import NOW
from tracker.actions.refusals import FieldInvalid, PleaseConfirm, WrongState
from tracker.actions.usage import decide_reading, record_reading
from tracker.models import LogEntry, OdometerReading, Trike
from tracker.queries.life import Distance, distances_now
from tracker.queries.usage import doubts_of

pytestmark = pytest.mark.django_db
MILE = float(KM_PER_MILE)


@pytest.fixture
def trike() -> Trike:
    """Handed over on 1 May 2025, about 2,000 km by 1 April 2026."""
    trike = make.TrikeFactory()
    for months, km in ((9, 500), (5, 1250), (1, 2000)):
        make.OdometerReadingFactory(trike=trike, value=km, read_at=NOW - timedelta(days=30 * months))
    return trike


def read(trike: Trike, value: float, answer: str | None = "", **told) -> OdometerReading:
    return record_reading(trike_id=trike.pk, value=value, now=NOW, answer=answer, **{"read_at": NOW, **told})


def slipped(trike: Trike) -> float:
    """What somebody types who turns the kilometres of the display into more, as if they were miles."""
    return round(stands(trike).display_km * MILE)


def stands(trike: Trike) -> Distance:
    return distances_now([trike.pk], NOW)[trike.pk]


def test_an_unlikely_reading_is_asked_about_and_not_written(trike):
    with pytest.raises(PleaseConfirm) as asked:
        read(trike, slipped(trike))
    assert trike.readings.count() == 3
    assert asked.value.facts["proposals"][0]["code"] == "km_as_miles"
    assert 1990 < asked.value.facts["expected_low_km"] < asked.value.facts["expected_high_km"] < slipped(trike)


def test_a_confirmed_reading_is_accepted_and_says_that_it_was(trike):
    typed = slipped(trike)
    kept = read(trike, typed, "accept")
    assert (kept.verdict, kept.reason_code, kept.km) == ("accepted", "confirmed", typed)
    assert kept.reason.startswith("Asked: Please read again: between ")
    assert kept.decided_at == NOW
    assert LogEntry.objects.get(kind="reading").body["choice"] == "accept"


def test_the_other_meaning_is_kept_beside_what_was_typed(trike):
    typed = slipped(trike)
    kept = read(trike, typed, "km_as_miles")
    assert (float(kept.value), kept.unit, kept.verdict) == (typed, "km", "accepted")
    assert kept.km == pytest.approx(typed / MILE, abs=0.001)


def test_an_answer_that_was_not_offered_asks_again(trike):
    with pytest.raises(PleaseConfirm):
        read(trike, slipped(trike), "swapped_9")


def test_a_machine_is_not_asked(trike):
    assert read(trike, slipped(trike), None).reason_code == ""


def test_a_likely_reading_is_not_asked_about(trike):
    kept = read(trike, 2150)
    assert (kept.verdict, kept.reason_code, kept.decided_at) == ("accepted", "", None)


def test_an_answer_to_no_question_leaves_no_note(trike):
    assert read(trike, 2150, "accept").reason_code == ""


def test_what_is_suspect_already_stays_so_although_somebody_says_it_is_right(trike):
    kept = read(trike, 1300, "accept")
    assert (kept.verdict, kept.reason_code) == ("suspect", "below-the-last-reading")


def test_a_reading_of_an_earlier_day_is_no_news_to_ask_about(trike):
    assert read(trike, 1990, read_at=NOW - timedelta(days=100)).verdict == "accepted"


def test_a_reading_of_an_earlier_display_is_not_asked_about(trike):
    typed = slipped(trike)
    make.DisplayChangeFactory(trike=trike, changed_at=NOW - timedelta(days=1), old_final_km=None)
    assert read(trike, typed, read_at=NOW - timedelta(days=2)).reason_code != "confirmed"


def test_in_build_nobody_knows_what_to_expect():
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    assert stands(trike).display_least_km is None
    assert read(trike, 500).verdict == "accepted"


def test_the_expected_range_begins_at_the_last_reading(trike):
    found = stands(trike)
    assert (found.display_least_km, found.is_read) == (2000, True)
    assert 2000 < found.display_km < found.display_most_km


def test_after_a_swap_the_expected_range_begins_at_the_new_display(trike):
    make.DisplayChangeFactory(trike=trike, changed_at=NOW - timedelta(days=10), old_final_km=2080.0, new_start_km=3.0)
    found = stands(trike)
    assert (found.display_least_km, found.is_read) == (3, True)
    assert 3 <= found.display_km < found.display_most_km < 500


def test_before_the_first_reading_the_range_begins_at_the_handover():
    found = stands(make.TrikeFactory(odometer_zero_km=12.0))
    assert (found.display_least_km, found.is_read) == (12, False)
    assert found.display_most_km > found.display_km > 12


@pytest.fixture
def doubted(trike) -> OdometerReading:
    """Miles typed as km in summer, unasked; each later reading is in km, and shows it."""
    OdometerReading.objects.filter(trike=trike).delete()
    rows = [(60, 450), (120, 900), (150, 1125 / MILE), (180, 1350), (240, 1800), (300, 2250), (350, 2625)]
    made = [
        make.OdometerReadingFactory(trike=trike, value=round(km), read_at=NOW - timedelta(days=365 - day))
        for day, km in rows
    ]
    return made[2]


def test_later_readings_make_an_accepted_one_doubtful_with_what_it_may_have_been(doubted):
    (found,) = doubts_of(doubted.trike_id, NOW)
    assert found.reading == doubted
    assert found.p_wrong > 0.9
    assert found.proposals[0].code == "miles_as_km"
    assert found.proposals[0].km == pytest.approx(1125, abs=1)


def test_readings_that_agree_make_no_doubt(trike):
    assert doubts_of(trike.pk, NOW) == []


@pytest.mark.parametrize("choice", ["accept", "reject", "miles_as_km"])
def test_a_late_doubt_is_decided_once_and_gone(doubted, choice):
    decided = decide_reading(reading_id=doubted.pk, choice=choice, by=make.UserFactory(), now=NOW)
    assert decided.verdict == ("rejected" if choice == "reject" else "accepted")
    assert (decided.reason_code, decided.proposals[0]["code"]) == ("doubted-later", "miles_as_km")
    assert doubted.pk not in [found.reading.pk for found in doubts_of(doubted.trike_id, NOW)]
    with pytest.raises(WrongState):
        decide_reading(reading_id=doubted.pk, choice="reject", by=None, now=NOW)


def test_the_meaning_a_person_chose_counts(doubted):
    assert decide_reading(reading_id=doubted.pk, choice="miles_as_km", by=None, now=NOW).km == pytest.approx(
        1125, abs=1
    )


def test_a_late_doubt_takes_only_what_it_offers(doubted):
    with pytest.raises(FieldInvalid):
        decide_reading(reading_id=doubted.pk, choice="guess", by=None, now=NOW)


def test_an_accepted_reading_that_nothing_speaks_against_is_not_put_in_question(trike):
    with pytest.raises(WrongState):
        decide_reading(reading_id=trike.readings.first().pk, choice="reject", by=None, now=NOW)


def test_ten_more_readings_ask_the_database_no_more(doubted, assert_flat_queries):
    def grow():
        for day in range(10):
            make.OdometerReadingFactory(
                trike=doubted.trike, value=2640 + 8 * day, read_at=NOW - timedelta(days=13 - day)
            )

    assert_flat_queries(lambda: doubts_of(doubted.trike_id, NOW), grow)
    assert_flat_queries(lambda: distances_now([doubted.trike_id], NOW), grow)
