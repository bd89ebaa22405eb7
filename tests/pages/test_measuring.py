"""Measuring on a job card: what is noted beside a value, in which unit, and what the record knows of it already."""

import pytest

from services.kinds import all_kinds
from tests import factories as make
from tests.pages.conftest import carry
from tests.pages.test_job_card import at, measured
from tracker.pages.job_forms import CONTEXT_WORDS, MeasureForm
from tracker.queries.cards import MeasureLine


@pytest.mark.parametrize("quantity", [q for kind in all_kinds() for q in kind.quantities], ids=lambda q: q.code)
def test_whatever_a_kind_wants_beside_a_value_has_words_and_a_field(quantity):
    form = MeasureForm(MeasureLine(None, quantity, None, None))
    for name in quantity.beside:
        label, _, hint = CONTEXT_WORDS[name]
        assert (form[name].label, form[name].field.required) == (label, name in quantity.needs)
        assert hint


def test_no_words_stand_there_for_what_no_kind_asks():
    assert set(CONTEXT_WORDS) == {name for kind in all_kinds() for q in kind.quantities for name in q.beside}


def test_a_chain_measured_over_few_pitches_says_how_fine_a_rule_reads_it(workshop, mechanic):
    values = measured(workshop.chain, "chain_elongation_pct", value="0.59", pitches="24")
    mechanic.post(at(workshop, "bench/"), values)
    taken = workshop.card.measurements.get()
    assert taken.context == {"pitches": 24}
    assert "Over 24 pitches" in taken.words  # 0.5 mm of 24 pitches of 12.7 mm (ISO 606) is 0.16 %
    assert taken.level == "soon"


def test_a_shock_is_judged_by_what_was_set_at_the_handover(workshop, mechanic):
    make.HandoverFactory(trike=workshop.trike, shock_pressure_kpa=1200)
    make.JobTaskFactory(card=workshop.card, component=workshop.shock, task="shock_air_check")
    assert "Empty: 12.0 bar, as at the handover." in mechanic.get(at(workshop, "bench/")).content.decode()
    values = measured(workshop.shock, "shock_pressure", value="9", unit="bar")
    mechanic.post(at(workshop, "bench/"), values | measured(workshop.shock, "shock_pressure", temperature_c="20"))
    taken = workshop.card.measurements.get()
    assert (taken.context["set_kpa"], taken.level) == (1200, "watch")  # 900 kPa is three quarters of it


def test_a_set_pressure_is_read_in_the_unit_of_the_value(workshop, mechanic):
    make.HandoverFactory(trike=workshop.trike, shock_pressure_kpa=1200)
    make.JobTaskFactory(card=workshop.card, component=workshop.shock, task="shock_air_check")
    values = measured(workshop.shock, "shock_pressure", value="130", unit="psi")
    mechanic.post(
        at(workshop, "bench/"), values | measured(workshop.shock, "shock_pressure", temperature_c="20", set_kpa="135")
    )
    taken = workshop.card.measurements.get()
    assert (round(taken.context["set_kpa"], 1), taken.level) == (930.8, "ok")  # 135 psi, NIST SP 811


def test_an_elastomer_is_measured_against_its_height_when_new(workshop, mechanic):
    piece = carry(workshop.trike, "elastomer", "elastomer-left", "E1")
    make.JobTaskFactory(card=workshop.card, component=piece, task="elastomer_inspection")
    values = measured(piece, "free_height_mm", value="37")
    missing = mechanic.post(at(workshop, "bench/"), values)
    assert missing.status_code == 422
    mechanic.post(at(workshop, "bench/"), values | measured(piece, "free_height_mm", new_height_mm="40"))
    taken = workshop.card.measurements.get()
    assert (taken.context, taken.level) == ({"new_height_mm": 40.0}, "replace")  # 7.5 % lost, limit 5 % (design rule)
