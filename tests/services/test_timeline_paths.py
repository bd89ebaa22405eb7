"""Whole fleets of readings at once. Where no source is named the values are arithmetic or this project's own rules."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.fleet_rates import SHIPPED
from services.season import season_clock
from services.timeline_costs import OK, OUTLIER
from services.timeline_paths import label_fleet, life_points
from services.timeline_rows import UNDECIDED, Machines, Readings, Swaps, displays_of

ZERO = 739_000.0
reading = st.tuples(st.floats(0, 2500), st.integers(0, 30_000), st.booleans())
swap = st.tuples(st.floats(1, 2500), st.one_of(st.just(np.nan), st.integers(0, 30_000)), st.integers(0, 2000))
rows = st.lists(reading, min_size=1, max_size=12)
swaps_drawn = st.lists(swap, max_size=3)


def readings_of(per_machine, decided=UNDECIDED):
    flat = [(who, day, km, owner) for who, each in enumerate(per_machine) for day, km, owner in each]
    who, day, km, owner = (np.array(column) for column in zip(*flat, strict=True))
    return Readings(who, ZERO + day.astype(float), km.astype(float), owner.astype(bool), np.full(len(flat), decided))


def swaps_of(per_machine):
    flat = [(who, *one) for who, each in enumerate(per_machine) for one in each]
    columns = zip(*flat, strict=True) if flat else ([], [], [], [])
    who, day, old, new = (np.array(column, dtype=float) for column in columns)
    return Swaps(who.astype(int), ZERO + day, old, new)


def machines_of(count, southern=False):
    return Machines(np.full(count, ZERO), np.zeros(count), np.full(count, southern))


def labelled(per_machine, swaps=(), **more):
    readings = readings_of(per_machine)
    return label_fleet(readings, swaps_of(swaps), machines_of(len(per_machine)), SHIPPED, **more)


def lives_in_time(readings, labels):
    order = np.lexsort((labels.life_km, readings.day))
    life = labels.life_km[order]
    return life[~np.isnan(life)]


@settings(deadline=None, max_examples=40)
@given(rows, swaps_drawn)
def test_life_never_falls(each, swaps):
    labels = labelled([each], [swaps])
    assert (np.diff(lives_in_time(readings_of([each]), labels)) >= 0).all()


@settings(deadline=None, max_examples=40)
@given(rows, swaps_drawn, st.randoms())
def test_the_order_in_which_readings_came_changes_nothing(each, swaps, random):
    shuffled = list(range(len(each)))
    random.shuffle(shuffled)
    other_swaps = list(swaps)
    random.shuffle(other_swaps)
    first = labelled([each], [swaps])
    again = labelled([[each[at] for at in shuffled]], [other_swaps])
    assert sorted(first.life_km[~np.isnan(first.life_km)]) == sorted(again.life_km[~np.isnan(again.life_km)])
    assert sorted(first.p_wrong) == sorted(again.p_wrong)


@settings(deadline=None, max_examples=40)
@given(st.lists(rows, min_size=1, max_size=5), st.lists(swaps_drawn, min_size=5, max_size=5))
def test_a_fleet_at_once_is_the_same_as_each_machine_alone(fleet, swaps):
    swaps = swaps[: len(fleet)]
    together = labelled(fleet, swaps)
    alone = [labelled([each], [theirs]) for each, theirs in zip(fleet, swaps, strict=True)]
    assert together.label.tolist() == [label for one in alone for label in one.label]
    for name in ("p_wrong", "p_reset", "life_km", "bridged"):
        one_by_one = np.concatenate([getattr(one, name) for one in alone])
        assert getattr(together, name) == pytest.approx(one_by_one, rel=1e-12, abs=1e-12, nan_ok=True)


@settings(deadline=None, max_examples=40)
@given(rows, st.floats(0, 4000))
def test_a_rider_who_is_clean_is_believed_whole(each, start):
    # a steady 5 km a day, read to the km, has nothing to doubt
    days = sorted({round(day) for day, _, _ in each})
    clean = [(day, 5 * day, False) for day in days]
    labels = labelled([clean])
    assert (labels.label == OK).all()
    assert labels.life_km == pytest.approx([5.0 * day for day in days])


def test_machines_without_a_reading_have_no_labels():
    labels = label_fleet(readings_of([[(10, 50, False)]]), swaps_of([]), machines_of(3), SHIPPED)
    assert labels.label.tolist() == [OK]
    assert labels.rate.tolist()[1:] == [SHIPPED.mu, SHIPPED.mu]


def test_no_reading_at_all_is_no_trouble():
    none = Readings(np.zeros(0, int), np.zeros(0), np.zeros(0), np.zeros(0, bool), np.zeros(0, int))
    assert label_fleet(none, swaps_of([]), machines_of(2), SHIPPED).label.tolist() == []


def test_an_announced_swap_adds_what_the_old_display_counted():
    # 2,450 km on the old one, then 400 on the new: 2,850 km of life
    labels = labelled([[(200, 1800, False), (240, 2400, False), (330, 400, False)]], [[(250, 2450, 0)]])
    assert labels.life_km[-1] == 2850


def test_a_display_that_ended_unread_is_bridged_by_the_riders_own_rate():
    labels = labelled([[(200, 1800, False), (240, 2400, False), (330, 400, False)]], [[(250, np.nan, 0)]])
    assert labels.label.tolist() == [OK] * 3
    assert labels.bridged[-1] == pytest.approx(labels.life_km[-1] - 2400 - 400)
    before, swapped = season_clock(SHIPPED.months, np.array([ZERO + 240, ZERO + 250]))
    assert labels.bridged[-1] == pytest.approx(np.exp(labels.rate[0]) * (swapped - before))


def test_the_second_swap_counts_from_where_the_new_display_began():
    # after the unread one: from 50 to 300 on the second display, then from 0 to 100 on the third
    labels = labelled(
        [[(240, 2400, False), (270, 250, False), (330, 100, False)]], [[(250, np.nan, 50), (300, 300, 0)]]
    )
    assert labels.life_km[2] - labels.life_km[1] == 150
    assert labels.life_km[1] - 2400 - labels.bridged[1] == pytest.approx(200)


def test_a_swap_before_the_handover_is_part_of_where_it_began():
    labels = labelled([[(100, 500, False)]], [[(-10, 9000, 0)]])
    assert labels.life_km.tolist() == [500]


def test_a_reading_on_the_day_of_a_swap_is_of_the_new_display():
    shows = displays_of(readings_of([[(249, 1, False), (250, 1, False)]]), swaps_of([[(250, 2450, 0)]]), machines_of(1))
    assert shows.offset.tolist() == [0, 2450]


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ((-31, 100, False), "a month before the handover"),
        ((402, 900, False), "after tomorrow"),
        ((100, -5, False), "below nothing"),
        ((100, 300_001, False), "more than a trike's life"),
        ((100, np.nan, False), "no number"),
    ],
)
def test_hard_rules_set_a_reading_aside(row, why):
    labels = labelled([[(50, 300, False), row, (400, 2000, False)]], now_day=ZERO + 400)
    assert labels.label.tolist() == [OK, OUTLIER, OK], why
    assert labels.p_wrong[1] == 1


def test_a_southern_machine_half_a_year_later_is_a_northern_one():
    # the clock is shifted by six months: 2025-01-10 in the north is 2025-07-10 in the south
    north = readings_of([[(10, 60, False), (100, 600, False), (140, 900, False)]])
    start = 739_252.0  # 2025-01-01
    south_start = start + 181
    one = Readings(north.machine, north.day - ZERO + start, north.km, north.owner, north.decided)
    other = Readings(north.machine, north.day - ZERO + south_start, north.km, north.owner, north.decided)
    a = label_fleet(one, swaps_of([]), Machines(np.array([start]), np.zeros(1), np.array([False])), SHIPPED)
    b = label_fleet(other, swaps_of([]), Machines(np.array([south_start]), np.zeros(1), np.array([True])), SHIPPED)
    assert a.p_wrong == pytest.approx(b.p_wrong, abs=0.002)  # months differ in length


def test_the_points_for_the_rates_begin_with_each_delivery_and_leave_out_what_is_not_believed():
    readings = readings_of([[(200, 1800, False), (100, 600, False)], [], [(0, 10, False), (90, 99_000, False)]])
    labels = label_fleet(readings, swaps_of([]), machines_of(3), SHIPPED)
    who, day, life = life_points(readings, machines_of(3), labels)
    assert who.tolist() == [0, 0, 0, 1, 2, 2]
    assert (day - ZERO).tolist() == [0, 100, 200, 0, 0, 0]
    assert life.tolist() == [0, 600, 1800, 0, 0, 10]


def test_two_swaps_noted_for_one_day_are_taken_in_the_same_order_whichever_came_first():
    rides, noted = [(30, 400, False), (90, 700, False)], [(40.0, np.nan, 0.0), (40.0, 450.0, 0.0)]
    first, again = labelled([rides], [noted]), labelled([rides], [noted[::-1]])
    np.testing.assert_array_equal(first.life_km, again.life_km)
    np.testing.assert_array_equal(first.p_wrong, again.p_wrong)
