"""A full day hands a visit on; safety limits, closing days and the same answer twice. Facts: common practice, no source."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from services.bench_days import LATE_DAYS, SEARCHED_DAYS, Bench, BenchDay, day_with_room

MONDAY = date(2026, 5, 4)
FULL = 420


def day(number: int) -> date:
    return MONDAY + timedelta(days=number)


def bench(*full: int, minutes: int = FULL, taken: int = 400, **options) -> Bench:
    return Bench(minutes, {day(number): taken for number in full}, **options)


def test_a_day_with_room_stands_and_nothing_is_said():
    assert day_with_room(day(1), 60, bench(2), today=day(0)) == BenchDay(day(1))


def test_a_full_day_hands_on_to_the_next_with_room_and_says_so():
    moved = day_with_room(day(1), 60, bench(1, 2), today=day(0))
    assert moved.on == day(3)
    assert moved.words == "The bench is full on 5 May 2026, so it moved to the next day with room."


def test_closed_weekdays_are_passed_over():
    shop = bench(3, 4, closed_weekdays={5, 6})
    assert day_with_room(day(3), 60, shop, today=day(0)).on == day(7)


def test_a_holiday_of_two_weeks_is_passed_over():
    shop = bench(3, closed_weekdays={5, 6}, closed_dates={day(number) for number in range(4, 18)})
    assert day_with_room(day(3), 60, shop, today=day(0)).on == day(18)


def test_work_longer_than_a_day_wants_a_day_of_its_own():
    assert day_with_room(day(0), 600, bench(0, taken=10), today=day(0)).on == day(1)


def test_a_bench_without_a_limit_is_never_full():
    assert day_with_room(day(1), 60, bench(1, minutes=0, taken=9000), today=day(0)) == BenchDay(day(1))


def test_a_safety_task_is_not_put_off_past_its_limit_but_brought_forward():
    moved = day_with_room(day(3), 60, bench(2, 3, 4), today=day(0), latest=day(4))
    assert moved.on == day(1)
    assert "safety does not wait, so it moved forward" in moved.words


def test_a_safety_task_takes_an_overfull_day_before_it_waits():
    stands = day_with_room(day(1), 60, bench(0, 1, 2), today=day(0), latest=day(2))
    assert stands.on == day(1)
    assert stands.words.endswith("the day stands because safety does not wait.")


def test_a_bench_full_for_months_leaves_the_day_as_it_is():
    stands = day_with_room(day(1), 60, bench(*range(SEARCHED_DAYS + 2)), today=day(0))
    assert stands.on == day(1)
    assert "no day near it has room" in stands.words


def test_on_the_last_day_nothing_waits():
    assert day_with_room(day(0), 60, bench(0), today=day(0), latest=day(0)).on == day(0)


def test_a_limit_missed_already_gets_the_next_day_with_room_within_four_weeks():
    assert day_with_room(day(0), 60, bench(0, 1), today=day(0), latest=day(-3)).on == day(2)
    full = bench(*range(LATE_DAYS + 1))
    assert day_with_room(day(0), 60, full, today=day(0), latest=day(-3)).on == day(0)


@given(
    taken=st.lists(st.integers(0, 500), max_size=31),
    wanted=st.integers(0, 20),
    minutes=st.integers(5, 500),
    limit=st.none() | st.integers(-5, 30),
    closed=st.sets(st.integers(0, 90)),
)
def test_the_answer_is_open_never_past_the_limit_and_the_same_twice(taken, wanted, minutes, limit, closed):
    filled = {day(number): spent for number, spent in enumerate(taken)}
    shop = Bench(FULL, filled, closed_weekdays={6}, closed_dates=set(map(day, closed)))
    asked = {"today": day(0), "latest": None if limit is None else day(limit)}
    moved = day_with_room(day(wanted), minutes, shop, **asked)
    assert moved == day_with_room(day(wanted), minutes, shop, **asked)
    assert moved.on >= day(0)
    assert bool(moved.words) is not shop.has_room(day(wanted), minutes)
    if moved.on != day(wanted):
        assert shop.is_open(moved.on)
        assert shop.has_room(moved.on, minutes)
    if limit is not None:
        assert moved.on <= (day(limit) if limit >= wanted else day(wanted + LATE_DAYS))
