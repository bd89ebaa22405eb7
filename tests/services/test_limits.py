"""Limits in words beside a field, what a task uses up, and where a part usually goes."""

import pytest

from services.fates import usual_fate
from services.kinds import all_kinds, all_tasks, task
from services.limits import limit_words, uses_words
from services.parts import PART_KINDS

RATED = {"limit_pct": 0.75, "max_kpa": 1900, "shore_a": 65, "rated_wh": 504, "min_rotor_mm": 1.5, "oil_ml": 25}
CHAIN = {"limit_pct": 0.75}


@pytest.mark.parametrize("quantity", [q for kind in all_kinds() for q in kind.quantities], ids=lambda q: q.code)
def test_whatever_is_measured_has_a_limit_in_words_where_the_part_is_known(quantity):
    assert limit_words(quantity.code, RATED, {"set_kpa": 1200, "new_height_mm": 40, "temperature_c": 20})


def test_a_chain_tells_its_own_limit_and_when_to_order():
    assert limit_words("chain_elongation_pct", CHAIN, {}) == "order a new one from 0.60 %, limit 0.75 %"


def test_a_shock_tells_what_was_set_and_its_maximum_in_bar():
    told = limit_words("shock_pressure", {"max_kpa": 1900}, {"set_kpa": 1200})
    assert told == "set to 12.0 bar, top up below 10.2 bar at 20 C, never above 19.0 bar"
    assert limit_words("shock_pressure", {}, {}) == ""


def test_nothing_is_told_of_a_part_nobody_rated():
    assert limit_words("battery_capacity_wh", {}, {}) == ""


def test_hub_oil_tells_the_volume_of_this_hub_and_leaves_it_out_where_it_is_not_known():
    assert uses_words(task("hub_oil_change"), {"oil_ml": 25}) == ["25 ml of the hub maker's oil", "flushing oil"]
    assert uses_words(task("hub_oil_change"), {}) == ["flushing oil"]
    assert uses_words(task("hub_oil_change"), {"oil_ml": "some"}) == ["flushing oil"]


def test_what_tasks_use_up_can_be_told_of_every_part():
    for each in all_tasks():
        assert len(uses_words(each, RATED)) == len(each.uses), each.code


@pytest.mark.parametrize(
    ("kind", "level", "fate"),
    [
        ("chain", "", "scrapped"), ("battery", "", "returned"), ("battery", "stop", "quarantined"),
        ("battery", "replace", "returned"), ("wheel", "", "in_stock"), ("wheel", "replace", "scrapped"),
    ],
)  # fmt: skip
def test_the_usual_fate_of_a_part_taken_off(kind, level, fate):
    assert usual_fate(kind, level) == fate


def test_every_kind_of_part_has_a_fate_that_a_part_can_have():
    assert {usual_fate(kind) for kind in PART_KINDS} == {"in_stock", "returned", "scrapped"}
