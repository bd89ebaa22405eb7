from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.quiet_hours import BadQuietHours, next_allowed, open_hours

ZONES = sorted(available_timezones())
FIRST, LAST = datetime(1990, 1, 1, tzinfo=UTC), datetime(2040, 12, 31, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)

zones = st.sampled_from(ZONES)
any_moment = st.datetimes(FIRST.replace(tzinfo=None), LAST.replace(tzinfo=None), timezones=st.just(UTC))
hours = st.integers(0, 23).flatmap(lambda first: st.tuples(st.just(first), st.integers(first + 1, 24)))
quiet_days = st.sets(st.integers(0, 6), max_size=6)


@cache
def clock_changes(zone: str) -> list[datetime]:
    """The days on which the clocks of a zone were set, 1990 to 2040."""
    place = ZoneInfo(zone)
    days = [FIRST + number * DAY for number in range((LAST - FIRST).days)]
    offsets = [day.astimezone(place).utcoffset() for day in days]
    return [day for day, before, after in zip(days, offsets, offsets[1:], strict=False) if before != after]


@st.composite
def near_clock_changes(draw) -> tuple[str, datetime]:
    """A zone and a whole minute within two days of one of its clock changes; any minute where it has none."""
    zone = draw(zones)
    changes = clock_changes(zone)
    if not changes:
        return zone, draw(any_moment).replace(second=0, microsecond=0)
    return zone, draw(st.sampled_from(changes)) + draw(st.integers(-2880, 2880)) * MINUTE


def is_open(moment: datetime, zone: str, window: tuple[int, int] = (8, 20), quiet: set[int] = frozenset()) -> bool:
    wall = moment.astimezone(ZoneInfo(zone))
    return window[0] <= wall.hour < window[1] and wall.weekday() not in quiet


def first_open_minute(moment: datetime, zone: str, window: tuple[int, int], quiet: set[int]) -> datetime:
    """The plain way: try minute after minute. All clocks since 1990 were set at whole minutes."""
    while not is_open(moment, zone, window, quiet):
        moment += MINUTE
    return moment


@given(moment=any_moment, zone=zones)
def test_a_message_never_arrives_in_quiet_hours_in_any_zone(moment, zone):
    assert is_open(next_allowed(moment, zone), zone)


@given(moment=any_moment, zone=zones, window=hours, quiet=quiet_days)
def test_nor_in_anybodys_own_quiet_hours_or_on_a_quiet_day(moment, zone, window, quiet):
    assert is_open(next_allowed(moment, zone, *window, quiet), zone, window, quiet)


@given(where=near_clock_changes(), window=hours)
@settings(max_examples=400, deadline=None)
def test_the_answer_is_the_earliest_open_minute_also_around_clock_changes(where, window):
    zone, moment = where
    assert next_allowed(moment, zone, *window) == first_open_minute(moment, zone, window, set())


@given(where=near_clock_changes(), window=hours, quiet=quiet_days)
@settings(max_examples=60, deadline=None)
def test_with_quiet_days_too_the_answer_is_the_earliest_open_minute(where, window, quiet):
    zone, moment = where
    assert next_allowed(moment, zone, *window, quiet) == first_open_minute(moment, zone, window, quiet)


@given(where=near_clock_changes(), window=hours)
@settings(deadline=None)
def test_the_wait_is_never_backwards_and_less_than_two_days(where, window):
    zone, moment = where
    wait = next_allowed(moment, zone, *window) - moment
    assert timedelta(0) <= wait < timedelta(hours=48)


@given(where=near_clock_changes(), window=hours, quiet=quiet_days)
@settings(deadline=None)
def test_with_quiet_days_the_wait_is_at_most_two_weeks(where, window, quiet):
    zone, moment = where
    assert next_allowed(moment, zone, *window, quiet) - moment < timedelta(days=14, hours=24)


@given(moment=any_moment, zone=zones, quiet=quiet_days)
def test_asking_again_at_the_answer_gives_the_answer(moment, zone, quiet):
    allowed = next_allowed(moment, zone, quiet_days=quiet)
    assert next_allowed(allowed, zone, quiet_days=quiet) == allowed


@pytest.mark.parametrize("zone", ["Pacific/Apia", "Pacific/Kwajalein", "Antarctica/Casey", "Australia/Lord_Howe"])
def test_zones_with_odd_clock_changes_are_right_at_each_of_them(zone):
    for change in clock_changes(zone):
        for hour in range(-24, 48):
            moment = change + timedelta(hours=hour)
            assert next_allowed(moment, zone) == first_open_minute(moment, zone, (8, 20), set())


@pytest.mark.parametrize(
    ("moment", "zone", "expected"),
    [
        ("2026-05-01T10:00", "Europe/London", "2026-05-01T10:00"),  # 11:00 on the wall: at once
        ("2026-05-01T19:00", "Europe/London", "2026-05-02T07:00"),  # 20:00 on the wall: quiet begins
        ("2026-05-01T18:59", "Europe/London", "2026-05-01T18:59"),
        ("2026-05-01T02:00", "America/New_York", "2026-05-01T12:00"),  # 22:00 the evening before
        ("2026-03-28T21:00", "Europe/London", "2026-03-29T07:00"),  # the night the clocks go forward
        ("2026-10-24T21:00", "Europe/London", "2026-10-25T08:00"),  # the night they go back
    ],
)
def test_the_next_moment_is_eight_in_the_morning_on_the_owners_wall(moment, zone, expected):
    asked = datetime.fromisoformat(moment).replace(tzinfo=UTC)
    assert next_allowed(asked, zone) == datetime.fromisoformat(expected).replace(tzinfo=UTC)


def test_a_day_that_begins_in_the_skipped_hour_begins_when_that_hour_ends():
    asked = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)  # London jumps from 01:00 to 02:00 at 01:00 UTC
    assert next_allowed(asked, "Europe/London", 1, 3) == datetime(2026, 3, 29, 1, 0, tzinfo=UTC)


def test_a_stretch_that_the_clocks_skip_whole_is_waited_for_until_the_next_day():
    asked = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)  # that day has no 01:00 to 02:00 in London
    assert next_allowed(asked, "Europe/London", 1, 2) == datetime(2026, 3, 30, 0, 0, tzinfo=UTC)


def test_a_skipped_hour_on_the_one_open_day_of_the_week_is_waited_for_until_next_week():
    asked = datetime(2026, 3, 22, 2, 0, tzinfo=UTC)  # Sunday's hour is just over; next Sunday has none
    expected = datetime(2026, 4, 5, 0, 0, tzinfo=UTC)
    assert next_allowed(asked, "Europe/London", 1, 2, {0, 1, 2, 3, 4, 5}) == expected


def test_clocks_that_go_back_into_the_open_hours_open_them_again():
    """Casey station went from 02:00 (UTC+11) back to 23:00 (UTC+8) on 5 March 2010 (IANA tz database)."""
    asked = datetime(2010, 3, 4, 14, 30, tzinfo=UTC)  # 01:30 on the wall
    assert next_allowed(asked, "Antarctica/Casey", 20, 24) == datetime(2010, 3, 4, 15, 0, tzinfo=UTC)


def test_a_quiet_weekend_is_waited_out():
    friday_evening = datetime(2026, 5, 1, 19, 30, tzinfo=UTC)
    monday_morning = datetime(2026, 5, 4, 7, 0, tzinfo=UTC)
    assert next_allowed(friday_evening, "Europe/London", quiet_days={5, 6}) == monday_morning


def test_the_quiet_day_is_the_owners_not_ours():
    asked = datetime(2026, 5, 2, 22, 0, tzinfo=UTC)  # Saturday in London, Sunday 10:00 in Auckland
    assert next_allowed(asked, "Pacific/Auckland", quiet_days={5}) == asked
    assert next_allowed(asked, "Pacific/Auckland", quiet_days={6}) == datetime(2026, 5, 3, 20, 0, tzinfo=UTC)


def test_a_week_of_quiet_days_is_refused():
    with pytest.raises(BadQuietHours, match="Every day"):
        next_allowed(datetime(2026, 5, 1, tzinfo=UTC), "UTC", quiet_days=range(7))


def test_an_hour_that_happens_twice_is_never_answered_with_the_past():
    asked = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)  # 01:30 on the wall for the second time
    assert next_allowed(asked, "Europe/London", 1, 2) == asked


@pytest.mark.parametrize(("from_hour", "until_hour"), [(20, 8), (8, 8), (-1, 8), (8, 25)])
def test_hours_that_leave_no_room_in_the_day_are_refused(from_hour, until_hour):
    with pytest.raises(BadQuietHours):
        next_allowed(datetime(2026, 5, 1, tzinfo=UTC), "UTC", from_hour, until_hour)


@given(quiet_from=st.integers(0, 24), quiet_until=st.integers(0, 24))
def test_the_open_hours_hold_no_hour_that_somebody_called_quiet(quiet_from, quiet_until):
    first, last = open_hours(quiet_from, quiet_until)
    length = (quiet_until - quiet_from) % 24
    quiet = {(quiet_from + hour) % 24 for hour in range(length)}
    assert 0 <= first < last <= 24
    assert not quiet & set(range(first, last))


@pytest.mark.parametrize(
    ("quiet", "opened"),
    [((20, 8), (8, 20)), ((1, 9), (9, 24)), ((22, 0), (0, 22)), ((0, 7), (7, 24)), ((9, 9), (0, 24))],
)
def test_quiet_hours_over_midnight_and_within_a_day(quiet, opened):
    assert open_hours(*quiet) == opened
