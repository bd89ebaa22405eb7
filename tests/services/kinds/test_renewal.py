"""Renewal by age: one task for each kind of part but the frame, due once in the life of a piece."""

from datetime import date

from services.interval_rules import Point, Rule
from services.intervals import next_limits
from services.kinds import kind, task
from services.kinds.renewal import is_safety_critical, renewal_of
from services.parts import PART_KINDS
from services.positions import POSITIONS
from services.release import swap_work


def test_every_kind_of_part_but_the_frame_can_be_renewed_by_age():
    assert {task.on for task in kind("renewal").tasks} == set(PART_KINDS) - {"frame"}
    assert renewal_of("frame") == ""
    assert task(renewal_of("chain")).title == "New chain"


def test_it_falls_due_once_in_the_life_of_a_piece():
    rule = Rule(task=renewal_of("chain"), first_km=6000, once=True)
    new = Point(date(2026, 1, 1), 0.0)
    assert next_limits(rule, new, []).km == 6000
    assert next_limits(rule, new, [Point(date(2026, 6, 1), 5900.0)]) is None


def test_hard_use_renews_sooner():
    rule = Rule(task=renewal_of("chain"), first_km=6000, once=True)
    assert next_limits(rule, Point(date(2026, 1, 1), 0.0), [], 0.5).km == 3000


def test_what_brakes_steers_or_holds_the_wheels_is_safety_critical():
    for code in ("brake", "kingpin", "tie_rod", "wheel", "hinge", "frame"):
        assert is_safety_critical(code)
        assert set(swap_work(_place(code)).areas) & {"brakes", "steering", "wheels", "hinge"}
    assert is_safety_critical("battery")
    assert not is_safety_critical("seat_mesh")


def _place(code):
    return next(place for place, position in POSITIONS.items() if code in position.part_kinds)
