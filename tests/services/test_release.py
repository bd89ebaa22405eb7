"""Which work demands a release, and what is asked. The lines are common practice, no source."""

import pytest

from services.kinds import all_tasks
from services.positions import POSITIONS
from services.release import (
    AREAS,
    LINES,
    LONGEST,
    areas_of_task,
    demanded,
    failure_work,
    lines_for,
    swap_work,
    task_work,
    uncovered,
    work_of,
)


def test_every_task_marked_for_release_demands_an_area():
    assert [task.code for task in all_tasks() if task.release and not areas_of_task(task.code)] == []


def test_what_owners_may_do_themselves_demands_no_release():
    assert [task.code for task in all_tasks() if task.owner_can and areas_of_task(task.code)] == []


def test_measuring_the_chain_alone_demands_none():
    assert areas_of_task("chain_check") == ()


@pytest.mark.parametrize(
    ("task", "areas"),
    [
        ("brakes_check", ("brakes",)),
        ("toe_in_check", ("steering",)),
        ("steering_joints_check", ("steering",)),
        ("hinge_check", ("hinge",)),
        ("wheels_check", ("wheels",)),
        ("quick_releases_check", ("wheels",)),
        ("tyres_check", ("wheels",)),
        ("hub_oil_change", ("drive",)),
        ("motor_service", ("drive",)),
        ("general_service", tuple(AREAS)),
        ("major_service", tuple(AREAS)),
        ("after_crash", ("brakes", "steering", "hinge", "wheels")),
    ],
)
def test_a_task_demands_the_areas_it_touches_with_what_it_includes(task, areas):
    assert areas_of_task(task) == areas


def test_a_task_that_wants_a_release_unsaid_demands_every_area(monkeypatch):
    from services import release

    monkeypatch.setattr(release, "_BY_TASK", {})
    assert areas_of_task("brakes_check") == tuple(AREAS)


@pytest.mark.parametrize(
    ("position", "areas"),
    [
        ("brake-left", ("brakes",)),
        ("rotor-right", ("brakes", "wheels")),
        ("kingpin-left", ("steering",)),
        ("tie-rod", ("steering",)),
        ("hinge", ("hinge",)),
        ("wheel-rear", ("brakes", "wheels")),
        ("tyre-left", ("wheels",)),
        ("boom-motor", ("drive",)),
        ("rear-hub", ("wheels", "drive")),
        ("chain", ("drive",)),
        ("battery", ()),
        ("elastomer-left", ()),
    ],
)
def test_a_swap_demands_what_sits_in_its_position(position, areas):
    assert swap_work(position).areas == areas


def test_every_position_can_be_asked():
    for position in POSITIONS:
        swap_work(position)


def test_a_failed_brake_demands_its_release_though_nothing_was_swapped():
    work = failure_work("brake", "leakage", "left brake")
    assert (work.areas, work.words) == (("brakes",), "Failure: left brake leaks")


def test_a_failure_without_a_place_is_told_by_its_kind():
    assert failure_work("tie_rod", "crack").words == "Failure: tie rod cracked"


def test_a_failed_light_demands_none():
    assert failure_work("lights", "no_function").areas == ()


def test_the_demand_says_because_of_which_work_in_words():
    works = [task_work("brakes_check", "left brake"), swap_work("brake-right", "B1", "B2"), task_work("lights_check")]
    (demand,) = demanded(works)
    assert demand.area.title == "Brakes"
    assert demand.because == ("Brake check (left brake)", "Swap: right brake, B1 → B2")


def test_a_swap_of_an_empty_position_says_so():
    assert swap_work("brake-rear", "", "B3").words == "Swap: rear brake, empty → B3"
    assert swap_work("brake-rear", "B3").words == "Swap: rear brake, B3 → empty"


def test_a_task_of_the_whole_trike_needs_no_place():
    assert task_work("toe_in_check", "frame").words == "Toe-in"


def test_the_checklist_ends_with_the_test_ride_once():
    demands = demanded([task_work("brakes_check"), task_work("hub_oil_change")])
    codes = [line.code for line in lines_for(demands)]
    assert codes == ["brakes_hold", "brakes_stop", "brakes_fixed", "drive_runs", "drive_held", "test_ride"]


def test_nothing_demanded_asks_nothing():
    assert lines_for(demanded([task_work("lights_check")])) == ()


def test_every_area_has_a_short_list_with_cautions_and_a_word_for_the_owner():
    for area in AREAS.values():
        assert 2 <= len(area.lines) <= 3
        assert area.cautions
        assert area.to_owner


def test_codes_of_lines_are_unique_and_fit_their_column():
    assert len(LINES) == sum(len(area.lines) for area in AREAS.values()) + 1
    assert max(map(len, LINES)) <= 40


def test_work_of_two_areas_stands_once():
    demands = demanded([swap_work("rear-hub", "H1", "H2")])
    assert work_of(demands) == ("Swap: rear hub, H1 → H2",)


def test_work_done_after_the_release_is_not_covered_by_it():
    demands = demanded([task_work("brakes_check", "left brake"), task_work("brakes_check", "right brake")])
    assert uncovered(demands, ["Brake check (left brake)"]) == ("Brake check (right brake)",)
    assert uncovered(demands, work_of(demands)) == ()


def test_the_words_of_long_serials_fit_their_column():
    assert len(swap_work("brake-left", "X" * 120, "Y" * 120).words) == LONGEST
