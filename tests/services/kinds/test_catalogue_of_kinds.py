"""All kinds together: what every one of them must have, what the tasks include, and the shipped intervals."""

import csv
from pathlib import Path

import pytest

from services import kinds
from services.errors import ImpossibleMeasurement
from services.intervals import Rebase
from services.kinds.model import LEVELS
from services.parts import PART_KINDS

CODES = [kind.code for kind in kinds.all_kinds()]
TASKS = {task.code: task for task in kinds.all_tasks()}
QUANTITIES = {quantity.code: quantity for kind in kinds.all_kinds() for quantity in kind.quantities}
AFTER = {"after_crash", "after_submersion", "after_lay_up"}
NUMBERS = ("first_km", "first_days", "every_km", "every_months", "every_days", "every_hours", "every_cycles")
EVERY = NUMBERS[2:]
with (Path(__file__).parents[3] / "fixtures" / "intervals.csv").open(encoding="utf-8", newline="") as file:
    INTERVALS = list(csv.DictReader(file))


def test_there_is_one_kind_per_file():
    files = {path.stem for path in Path(kinds.__file__).parent.glob("*.py")} - {"__init__", "model", "from_bulletin"}
    assert set(CODES) == files
    assert sorted(CODES) == CODES


@pytest.mark.parametrize("code", CODES)
def test_every_kind_says_what_to_beware_of(code):
    assert all(len(caution) > 20 and caution.endswith(".") for caution in kinds.kind(code).cautions)
    assert kinds.kind(code).cautions


@pytest.mark.parametrize("code", CODES)
def test_a_kind_that_measures_also_judges(code):
    kind = kinds.kind(code)
    assert bool(kind.quantities) == (kind.judge is not None)


def test_codes_and_titles_of_tasks_are_unique():
    tasks = [task for kind in kinds.all_kinds() for task in kind.tasks]
    assert len(tasks) == len(TASKS) == len({task.title.casefold() for task in tasks})


def test_codes_of_quantities_are_unique():
    assert len(QUANTITIES) == sum(len(kind.quantities) for kind in kinds.all_kinds())


@pytest.mark.parametrize("code", TASKS)
def test_every_task_fits_its_columns_and_speaks_to_the_owner(code):
    task = TASKS[code]
    assert len(code) <= 40
    assert task.on in PART_KINDS
    assert task.minutes > 0
    assert task.plain.endswith(".")
    assert kinds.task(code) is task
    assert task in kinds.kind_of_task(code).tasks
    assert task in kinds.tasks_for(task.on)


def test_every_quantity_is_asked_for_by_one_task_of_its_own_kind():
    asked = [(code, kinds.kind_of_task(task.code)) for task in TASKS.values() for code in task.asks]
    assert sorted(code for code, _ in asked) == sorted(QUANTITIES)
    assert all(kinds.quantity(code) in kind.quantities for code, kind in asked)


@pytest.mark.parametrize("code", QUANTITIES)
def test_every_plausible_value_gets_a_level_and_words_that_fit(code):
    quantity = QUANTITIES[code]
    beside = {name: sum(kinds.BESIDE[name][:2]) / 2 for name in quantity.needs}
    for step in range(101):
        verdict = kinds.judge(code, quantity.low + (quantity.high - quantity.low) * step / 100, context=beside)
        assert verdict.level in LEVELS
        assert 0 < len(verdict.words) <= 200
    assert len(quantity.instrument) <= 80
    assert quantity.better in {"lower", "higher", "band"}


@pytest.mark.parametrize("code", QUANTITIES)
@pytest.mark.parametrize("beyond", [-1.0, 1.0])
def test_a_value_just_outside_the_plausible_range_is_refused(code, beyond):
    quantity = QUANTITIES[code]
    with pytest.raises(ImpossibleMeasurement) as caught:
        kinds.judge(code, (quantity.low if beyond < 0 else quantity.high) + beyond)
    assert (caught.value.code, caught.value.field) == ("impossible-measurement", "value")
    assert caught.value.remedy


def test_an_unknown_code_is_not_guessed():
    for look_up in (kinds.kind, kinds.task, kinds.quantity):
        with pytest.raises(KeyError):
            look_up("polish_check")


def covered(code, seen=frozenset()):
    assert code not in seen, f"{code} includes itself"
    return {code}.union(*(covered(part, seen | {code}) for part in kinds.includes_map().get(code, ())))


@pytest.mark.parametrize("code", TASKS)
def test_what_a_task_includes_exists_and_never_includes_it_back(code):
    assert covered(code) <= set(TASKS)


def test_the_general_service_covers_the_chain_check_and_not_the_reverse():  # analogue of 14 CFR 91.409(b)
    assert "chain_check" in covered("general_service")
    assert "general_service" in covered("major_service")
    assert covered("chain_check") == {"chain_check"}


def test_the_first_inspection_looks_at_what_settles():
    assert {"motor_bolts_check", "shifting_check", "wheels_check", "brakes_check", "steering_joints_check"} <= covered(
        "first_inspection"
    )


def test_work_on_brakes_and_steering_ends_with_a_release_check():
    for code in (
        "brakes_check",
        "toe_in_check",
        "steering_joints_check",
        "hinge_check",
        "axle_check",
        "general_service",
    ):
        assert TASKS[code].safety
        assert TASKS[code].release


def test_every_task_has_a_shipped_interval_but_those_that_follow_an_event_or_an_age_somebody_names():
    renewals = {task.code for task in kinds.kind("renewal").tasks}
    assert sorted(row["task"] for row in INTERVALS) == sorted(set(TASKS) - AFTER - renewals)


@pytest.mark.parametrize("row", INTERVALS, ids=lambda row: row["task"])
def test_every_shipped_interval_says_when_and_where_it_is_from(row):
    assert row["part_kind"] == TASKS[row["task"]].on
    assert row["source"]
    assert Rebase(row["rebase"])
    given = {name: float(row[name]) for name in NUMBERS if row[name]}
    assert all(value > 0 for value in given.values())
    assert row["once"] == "yes" or given.keys() & set(EVERY)


@pytest.mark.parametrize(
    "row", [r for r in INTERVALS if TASKS[r["task"]].safety and not r["once"]], ids=lambda row: row["task"]
)
def test_a_safety_interval_never_drifts_later(row):
    assert Rebase(row["rebase"]) is Rebase.NEVER_LATER


def test_a_whole_trike_keeps_a_sensible_number_of_lines():
    assert 25 <= len(INTERVALS) <= 36


def test_owners_are_not_asked_for_anything_more_often_than_every_two_months():
    for row in INTERVALS:
        if TASKS[row["task"]].owner_can and row["every_months"]:
            assert int(row["every_months"]) >= 2


def test_the_hub_interval_is_the_hub_instructions():  # 1,000 km, then 5,000 km or 12 months (hub instruction, as quoted)
    row = next(row for row in INTERVALS if row["task"] == "hub_oil_change")
    assert (row["first_km"], row["every_km"], row["every_months"]) == ("1000", "5000", "12")


class _Asked(dict):
    """What stands beside a value; it remembers which names a judge looked up."""

    def __init__(self, told):
        super().__init__(told)
        self.names = set()

    def __getitem__(self, name):
        self.names.add(name)
        return super().__getitem__(name)

    def __contains__(self, name):
        self.names.add(name)
        return super().__contains__(name)

    def get(self, name, default=None):
        self.names.add(name)
        return super().get(name, default)


@pytest.mark.parametrize("code", QUANTITIES)
def test_a_judge_looks_at_nothing_beside_a_value_that_its_quantity_does_not_name(code):
    """Otherwise no form would ask for it."""
    measured = QUANTITIES[code]
    asked = _Asked(dict.fromkeys(kinds.BESIDE, 20.0))
    owner = next(kind for kind in kinds.all_kinds() if measured in kind.quantities)
    owner.judge(code, (measured.low + measured.high) / 2, {}, asked)
    assert asked.names == set(measured.beside)


@pytest.mark.parametrize("code", QUANTITIES)
def test_what_is_noted_beside_a_value_has_bounds(code):
    assert set(QUANTITIES[code].beside) <= set(kinds.BESIDE)


def test_what_a_larger_task_includes_comes_with_it_however_deep():
    along = kinds.comes_with(["major_service", "general_service", "brakes_check", "elastomer_inspection"])
    assert along["brakes_check"] in {"general_service", "major_service"}
    assert along["general_service"] == "major_service"
    assert "major_service" not in along


def test_bench_minutes_count_what_comes_along_once_and_each_part_by_itself():
    alone = kinds.bench_minutes(["brakes_check", "brakes_check"])
    assert alone == 2 * TASKS["brakes_check"].minutes
    assert kinds.bench_minutes(["general_service", "brakes_check", "brakes_check"]) == TASKS["general_service"].minutes
    assert kinds.bench_minutes([]) == 0
