"""Two simulated years in six zones, hour by hour, with a clock that jumps: goal R16. Prints its figures.

Nothing outside the open hours of an owner's wall, nothing twice, and after a year's gap one reminder about each visit.
LONG_WALKS=1 walks every hour of two years; the short form walks the weeks in which clocks are set and jumps are made.
"""

from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from tests.reminders.conftest import some_task, trike_with
from tests.reminders.walks import IS_LONG, ZONES, Counted, hours, trikes_in, wall_of
from tracker.actions.reminders import GAP, run_sweep
from tracker.models import OutboxMessage, Trike

pytestmark = pytest.mark.django_db

START = datetime(2026, 4, 20, 0, 30, tzinfo=UTC)
HOUR, DAY, YEAR = timedelta(hours=1), timedelta(days=1), timedelta(days=365)
OPEN = (8, 20)  # the shop's hours


def spans() -> list[tuple[datetime, datetime]]:
    """The stretches that are walked hour by hour: all of two years, or those where clocks are set and work falls due."""
    if IS_LONG:
        return [(START, START + 2 * YEAR)]
    at = [
        datetime(2026, 4, 30), datetime(2026, 10, 24), datetime(2026, 10, 31), datetime(2027, 3, 13),
        datetime(2027, 4, 3), datetime(2027, 9, 4), datetime(2028, 3, 25),
    ]  # fmt: skip
    return [(day.replace(tzinfo=UTC), day.replace(tzinfo=UTC) + 2 * DAY) for day in at]


def walk(moments, box: Counted) -> int:
    """Sweep once a day, dispatch every hour, as the schedule does; return how many hours went by."""
    moments = list(moments)
    for now in moments:
        if now.hour == 2:
            run_sweep(now=now)
        box.round(now)
    return len(moments)


def quiet(box: Counted) -> list[datetime]:
    """The walls of letters that went out in somebody's quiet hours."""
    walls = [wall_of(name, at) for name, at in box.sent]
    return [wall for wall in walls if not OPEN[0] <= wall.hour < OPEN[1]]


def test_two_years_in_six_zones_send_nothing_in_quiet_hours_and_nothing_twice():
    trikes_in(ZONES, some_task(safety=False))
    box = Counted(START)
    walked = sum(walk(hours(*span), box) for span in spans())
    keys = OutboxMessage.objects.count()
    print(f"{walked} hours, {len(ZONES)} zones: {len(box.sent)} sent, {len(quiet(box))} in quiet hours, "
          f"{box.repeats} repeated, {keys} keys")  # fmt: skip
    assert len(box.sent) >= 4 * len(ZONES)
    assert quiet(box) == []
    assert box.repeats == 0
    assert set(OutboxMessage.objects.values_list("attempts", flat=True)) == {1}


def test_a_clock_that_goes_back_an_hour_and_forward_a_year_sends_nothing_twice():
    trikes_in(ZONES, some_task(safety=False))
    box, begin = Counted(START), datetime(2026, 4, 30, tzinfo=UTC)
    walk(hours(begin, begin + 2 * DAY), box)
    before = len(box.sent)
    walk(hours(begin + 2 * DAY - HOUR, begin + 2 * DAY), box)  # the same hour once more
    assert len(box.sent) == before
    later = begin + 2 * DAY + YEAR
    walk(hours(later, later + 2 * DAY), box)
    after_gap = Counter(OutboxMessage.objects.filter(created_at__gte=later - DAY).values_list("trike_id", flat=True))
    print(f"after a gap of a year: {sorted(after_gap.values())} reminders per trike, {box.repeats} repeated, "
          f"{len(quiet(box))} in quiet hours")  # fmt: skip
    assert set(after_gap.values()) == {1}
    assert (len(after_gap), box.repeats, quiet(box)) == (len(ZONES), 0, [])


def test_a_clock_set_back_a_year_by_mistake_falls_silent_and_repeats_nothing():
    trike = trikes_in(["Europe/London"], some_task(safety=False))["Europe/London"]
    box, begin = Counted(START), datetime(2026, 5, 1, tzinfo=UTC)
    walk(hours(begin + YEAR, begin + YEAR + DAY), box)
    walk(hours(begin, begin + DAY), box)
    keys = OutboxMessage.objects.filter(trike=trike).values_list("key", flat=True)
    assert (box.repeats, len(keys), len(set(keys))) == (0, len(keys), len(keys))
    assert len(keys) == 1


def test_owners_with_hours_and_days_of_their_own_are_left_alone_in_them():
    """Who works nights: nothing from 6 to 22, nothing at the weekend."""
    trikes_in(ZONES, some_task(safety=False), quiet_from_hour=6, quiet_until_hour=22, quiet_weekdays=[5, 6])
    box, begin = Counted(START), datetime(2026, 4, 17, tzinfo=UTC)
    walk(hours(begin, begin + (200 if IS_LONG else 6) * DAY), box)
    walls = [wall_of(name, at) for name, at in box.sent]
    assert len(walls) >= len(ZONES)
    assert all(wall.hour >= 22 and wall.weekday() < 5 for wall in walls)


def test_messages_about_one_trike_stay_a_week_apart_over_a_year():
    for _ in range(3):
        trike_with(some_task(safety=False))
    for number in range(0, 365, 1 if IS_LONG else 6):
        run_sweep(now=START + number * DAY)
    for trike in Trike.objects.all():
        moments = sorted(trike.messages.values_list("created_at", flat=True))
        assert all(after - before >= GAP for before, after in pairwise(moments))
