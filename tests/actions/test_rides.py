"""Rides that came as files: counted once, added up, a floor under the distance, and never against a later reading."""

from datetime import UTC, datetime, timedelta

import pytest

from services.rides import CERTAIN_SHARE, Ride
from tests import factories as make
from tests.actions.what_holds import check_all
from tests.factories import NOW
from tracker.actions.refusals import WrongState
from tracker.actions.rides import (
    RideAlreadyCounted,
    RideBeforeReading,
    RideInFuture,
    RideNeedsReading,
    take_ride,
)
from tracker.actions.usage import decide_reading, record_display_change, record_reading
from tracker.models import LogEntry, OdometerReading, RideFile, Trike
from tracker.queries.clock import day_of
from tracker.queries.life import clocks_of
from tracker.queries.rides import rides_told
from tracker.queries.usage import doubts_of

pytestmark = pytest.mark.django_db
READ_AT = datetime(2026, 4, 1, 10, 0, tzinfo=UTC)


@pytest.fixture
def trike() -> Trike:
    """Handed over on 1 May 2025; its display showed 2,000 km on 1 April 2026."""
    trike = make.OwnershipFactory().trike
    frame = make.ComponentFactory(part_type__kind="frame", serial=trike.frame_serial, state="fitted")
    make.FitmentFactory(trike=trike, component=frame, position="frame")
    make.ServiceIntervalFactory(task="general_service", part_kind="frame", every_km=2500, every_months=None)
    make.OdometerReadingFactory(trike=trike, read_at=READ_AT, value=2000)
    return trike


def ride(day: float, km: float = 40.0, hours: float = 2.0) -> Ride:
    """A ride so many days after the reading."""
    started = READ_AT + timedelta(days=day)
    return Ride(started, started + timedelta(hours=hours), km)


def take(trike: Trike, one: Ride, file: str = "", now: datetime = NOW, **told) -> RideFile:
    return take_ride(trike_id=trike.pk, ride=one, sha256=file or one.started_at.isoformat(), now=now, **told)


def life(trike: Trike, at: datetime = NOW) -> float:
    return float(clocks_of([trike.pk])[trike.pk].life_at(day_of(at)))


def read(trike: Trike, value: float, at: datetime = NOW) -> OdometerReading:
    return record_reading(trike_id=trike.pk, value=value, read_at=at, now=NOW)


def test_a_ride_becomes_a_reading_of_what_the_display_should_show(trike):
    reading = take(trike, ride(3)).reading
    assert (reading.km, float(reading.value), reading.unit) == (2040.0, 2040.0, "km")
    assert (reading.source, reading.verdict) == ("ride_file", "estimated")
    assert reading.read_at == READ_AT + timedelta(days=3, hours=2)
    assert reading.reason == "2,000 km on 1 Apr 2026 and a ride file since: at least about this."


def test_several_rides_add_up(trike):
    take(trike, ride(3))
    assert take(trike, ride(5, 25.5)).reading.km == 2065.5


def test_rides_add_up_in_whatever_order_they_come(trike):
    take(trike, ride(5, 25.5))
    earlier = take(trike, ride(3)).reading
    assert (earlier.km, earlier.read_at) == (2065.5, READ_AT + timedelta(days=5, hours=2))


def test_only_when_and_how_far_is_kept(trike):
    row = take(trike, ride(3))
    kept = {field.name for field in RideFile._meta.get_fields()}
    assert kept == {"id", "trike", "sha256", "started_at", "ended_at", "km", "reading", "added_at"}
    assert LogEntry.objects.get(kind="ride").body == {"reading": row.reading_id, "km": 40.0, "shows": 2040.0}


def test_the_same_file_is_counted_once(trike):
    take(trike, ride(3), file="same")
    with pytest.raises(RideAlreadyCounted, match="ride of 10 Apr 2026 is counted already"):
        take(trike, ride(9), file="same")
    assert RideFile.objects.count() == 1


def test_the_same_file_may_be_of_another_trike(trike):
    other = make.TrikeFactory()
    take(trike, ride(3), file="same")
    assert take(other, ride(3), file="same").reading.km == 40.0


@pytest.mark.parametrize("hours", [-1.9, 0.0, 1.9])
def test_a_ride_of_the_same_time_is_counted_already(trike, hours):
    take(trike, ride(3))
    with pytest.raises(RideAlreadyCounted):
        take(trike, ride(3 + hours / 24), file="from another recorder")


def test_a_ride_that_begins_where_another_ended_is_another_ride(trike):
    take(trike, ride(3))
    assert take(trike, ride(3 + 2 / 24)).reading.km == 2080.0


@pytest.mark.parametrize("day", [-20, -0.05])
def test_a_ride_that_began_before_the_odometer_was_read_is_in_that_reading(trike, day):
    with pytest.raises(RideBeforeReading, match="read on 1 Apr 2026"):
        take(trike, ride(day))


def test_a_ride_in_the_future_is_refused(trike):
    with pytest.raises(RideInFuture):
        take(trike, ride(40))


def test_a_recorder_a_minute_fast_is_believed(trike):
    ended = NOW + timedelta(minutes=1)
    reading = take(trike, Ride(ended - timedelta(hours=1), ended, 12.0)).reading
    assert reading.read_at == NOW


def test_without_any_reading_rides_count_from_the_handover():
    trike = make.TrikeFactory(odometer_zero_km=12.0)
    one = Ride(datetime(2025, 5, 1, 8, tzinfo=UTC), datetime(2025, 5, 1, 9, tzinfo=UTC), 15.0)
    assert take(trike, one).reading.km == 27.0


def test_a_trike_in_build_has_nothing_to_add_a_ride_to():
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    with pytest.raises(RideNeedsReading):
        take(trike, ride(3))


def test_rides_of_a_retired_trike_are_not_counted():
    with pytest.raises(WrongState):
        take(make.TrikeFactory(state="retired"), ride(3))


def test_after_a_new_display_rides_count_from_where_it_began(trike):
    take(trike, ride(3))
    record_display_change(
        trike_id=trike.pk, changed_at=READ_AT + timedelta(days=10), old_final_km=2100.0, new_start_km=5.0, now=NOW
    )
    assert take(trike, ride(12)).reading.km == 45.0
    with pytest.raises(RideBeforeReading):
        take(trike, ride(9))


# What it does to the distance


def test_a_few_rides_among_many_that_never_came_as_files_leave_the_distance_alone(trike):
    before = life(trike)
    take(trike, ride(25, 10.0))
    assert life(trike) == before


def test_rides_beyond_what_was_expected_raise_the_distance(trike):
    for day in range(1, 11):
        take(trike, ride(day, 60.0))
    assert life(trike, READ_AT + timedelta(days=10, hours=2)) == pytest.approx(2000 + 600 * CERTAIN_SHARE)
    assert life(trike) > 2000 + 600 * CERTAIN_SHARE
    check_all(NOW)


def test_rides_bring_a_service_nearer(trike):
    take(trike, ride(1, 1.0))
    before = trike.due_lines.get(task="general_service").due_on
    for day in range(2, 12):
        take(trike, ride(day, 45.0))
    assert trike.due_lines.get(task="general_service").due_on < before


def test_a_later_reading_wins_though_it_is_lower_than_the_rides_said(trike):
    for day in range(1, 11):
        take(trike, ride(day, 60.0))
    assert read(trike, 2590).verdict == "accepted"
    assert life(trike) == 2590
    assert take(trike, Ride(NOW, NOW + timedelta(minutes=4), 1.0)).reading.km == 2591.0
    check_all(NOW)


def test_a_later_reading_far_below_the_rides_wins_too(trike):
    take(trike, ride(3, 400.0, hours=20))
    assert read(trike, 2150).verdict == "accepted"
    assert life(trike) == 2150


def test_a_reading_of_an_earlier_day_that_comes_late_leaves_the_rides_after_it(trike):
    take(trike, ride(3, 200.0, hours=9))
    take(trike, ride(20, 300.0, hours=9))
    read(trike, 2150, READ_AT + timedelta(days=10))
    assert life(trike, READ_AT + timedelta(days=20, hours=9)) == pytest.approx(2150 + 300 * CERTAIN_SHARE)


def test_a_reading_decided_otherwise_takes_the_rides_with_it(trike):
    """The floor is reckoned from the readings as they stand now, not from the sum written down with a ride."""
    wrong = read(trike, 20, READ_AT + timedelta(days=2))
    decide_reading(reading_id=wrong.pk, choice="accept", by=make.UserFactory(), now=NOW)
    assert take(trike, ride(3, 200.0, hours=9)).reading.km == 220.0
    OdometerReading.objects.filter(pk=wrong.pk).update(verdict="rejected")
    assert life(trike, READ_AT + timedelta(days=3, hours=9)) == pytest.approx(2000 + 200 * CERTAIN_SHARE)


def test_displays_are_judged_as_if_there_were_no_ride_files(trike):
    for day in range(1, 11):
        take(trike, ride(day, 60.0))
    assert doubts_of(trike.pk, NOW) == []
    asked = record_reading(trike_id=trike.pk, value=2100, read_at=NOW, now=NOW, answer="accept")
    assert (asked.verdict, asked.reason_code) == ("accepted", "")


def test_a_reading_added_up_from_rides_is_not_there_to_be_decided(trike):
    reading = take(trike, ride(3)).reading
    with pytest.raises(WrongState):
        decide_reading(reading_id=reading.pk, choice="reject", by=make.UserFactory(), now=NOW)


def test_the_owner_is_told_what_the_rides_since_the_reading_add_up_to(trike):
    assert rides_told(trike.pk) is None
    take(trike, ride(3))
    take(trike, ride(5, 25.5))
    told = rides_told(trike.pk)
    assert (told.count, told.km, told.since) == (2, 65.5, READ_AT.date())


def test_a_new_owner_is_told_nothing_of_the_rides_of_the_one_before(trike):
    take(trike, ride(3))
    passed_on = (READ_AT + timedelta(days=10)).date()
    trike.ownerships.update(until=passed_on)
    make.OwnershipFactory(trike=trike, since=passed_on)
    assert rides_told(trike.pk) is None


def test_without_a_reading_handover_or_owner_there_is_nothing_to_tell(trike):
    assert rides_told(make.OwnershipFactory(trike__state="in_build", trike__delivered_on=None).trike_id) is None
    take(trike, ride(3))
    trike.ownerships.all().delete()
    assert rides_told(trike.pk) is None


def test_the_distances_of_a_fleet_cost_the_same_queries_with_2_rides_and_22(trike, assert_flat_queries):
    make.RideFileFactory.create_batch(2, trike=trike)
    assert_flat_queries(lambda: clocks_of([trike.pk]), lambda: make.RideFileFactory.create_batch(20, trike=trike))
