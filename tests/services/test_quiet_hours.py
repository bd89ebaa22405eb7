from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.quiet_hours import BadQuietHours, next_allowed

ZONES = sorted(available_timezones())
moments = st.datetimes(
    min_value=datetime(2001, 1, 1), max_value=datetime(2099, 12, 31), timezones=st.just(UTC)
)  # tz rules are settled enough in this century


@given(moment=moments, zone=st.sampled_from(ZONES))
def test_a_message_never_arrives_in_quiet_hours_in_any_zone(moment, zone):
    wall = next_allowed(moment, zone).astimezone(ZoneInfo(zone))
    assert 8 <= wall.hour < 20


@given(moment=moments, zone=st.sampled_from(ZONES))
def test_the_wait_is_never_backwards_and_at_most_a_night_with_a_clock_change(moment, zone):
    wait = next_allowed(moment, zone) - moment
    assert timedelta(0) <= wait <= timedelta(hours=36)  # 12 h of night, and Samoa once skipped a whole day


@given(moment=moments, zone=st.sampled_from(ZONES))
def test_asking_again_at_the_answer_gives_the_answer(moment, zone):
    allowed = next_allowed(moment, zone)
    assert next_allowed(allowed, zone) == allowed


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


def test_an_hour_that_happens_twice_is_never_answered_with_the_past():
    asked = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)  # 01:30 on the wall for the second time
    assert next_allowed(asked, "Europe/London", 1, 2) == asked


@pytest.mark.parametrize(("from_hour", "until_hour"), [(20, 8), (8, 8), (-1, 8), (8, 25)])
def test_hours_that_leave_no_room_in_the_day_are_refused(from_hour, until_hour):
    with pytest.raises(BadQuietHours):
        next_allowed(datetime(2026, 5, 1, tzinfo=UTC), "UTC", from_hour, until_hour)
