"""Pads and rotors."""

import pytest

from services.errors import ImpossibleMeasurement
from services.kinds import judge

DISC = {"kind": "disc", "min_rotor_mm": 1.5, "new_pad_mm": 2.5}


@pytest.mark.parametrize(
    ("mm", "level"),  # 0.5 mm: a repair-advice page, published; 1.0 mm warning: common practice, no source
    [(0.4, "replace"), (0.5, "replace"), (0.6, "soon"), (1.0, "soon"), (1.1, "ok")],
)
def test_pads_end_at_half_a_millimetre_and_warn_at_one(mm, level):
    assert judge("pad_mm", mm, rated=DISC).level == level


def test_a_thick_pad_warns_at_a_third_of_new():  # a mechanic's post: less than a third of the original
    assert judge("pad_mm", 1.3, rated={"kind": "drum", "new_pad_mm": 4}).level == "soon"
    assert judge("pad_mm", 1.4, rated={"kind": "drum", "new_pad_mm": 4}).level == "ok"


@pytest.mark.parametrize(
    ("mm", "minimum", "level"),  # tool maker's article: replace when less than what is etched
    [(1.50, 1.5, "ok"), (1.49, 1.5, "replace"), (1.48, 1.5, "replace"), (1.51, 1.52, "replace")],
)
def test_a_rotor_thinner_than_etched_is_replaced(mm, minimum, level):
    assert judge("rotor_mm", mm, rated={"min_rotor_mm": minimum}).level == level


def test_a_rotor_without_a_mark_is_held_to_one_and_a_half():
    assert judge("rotor_mm", 1.496).words == "1.496 mm - replace the rotor: minimum 1.5 mm."


def test_a_drum_brake_has_no_rotor():
    with pytest.raises(ImpossibleMeasurement, match="no rotor"):
        judge("rotor_mm", 1.8, rated={"kind": "drum"})


@pytest.mark.parametrize(
    ("code", "value", "span"), [("pad_mm", 25, "between 0 and 8 mm"), ("rotor_mm", 18, r"between 0\.5 and 4 mm")]
)
def test_a_slipped_decimal_point_is_refused(code, value, span):
    with pytest.raises(ImpossibleMeasurement, match=span):
        judge(code, value, rated=DISC)
