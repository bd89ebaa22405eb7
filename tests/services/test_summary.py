"""What an owner reads after a visit: plain words, the owner's units, no codes."""

from datetime import date

import pytest

from services.kinds import all_kinds, all_tasks
from services.summary import (
    LONGEST,
    Ahead,
    Changed,
    Fault,
    Taken,
    Told,
    Visit,
    blocks,
    next_lines,
    proposed,
    say_value,
)

DAY = date(2026, 5, 1)


def said(unit="km", **values) -> str:
    return proposed(Visit(DAY, **values), unit)


def test_it_opens_with_day_and_odometer_in_the_owners_unit():
    assert said(km=2092.1) == "Your trike was with us on 1 May 2026; its odometer stood at 2,092 km."
    assert said("mi", km=2092.1).endswith("its odometer stood at 1,300 mi.")  # 1,300 mi x 1.609344


def test_without_an_odometer_it_says_only_the_day():
    assert said() == "Your trike was with us on 1 May 2026."


def test_what_was_done_is_told_in_everyday_words():
    assert "What we did:\n- We changed the oil of the gear hub." in said(done=(Told("hub_oil_change", "rear hub"),))


def test_every_task_of_the_trade_can_be_told():
    for task in all_tasks():
        assert "_" not in said(done=(Told(task.code),))


def test_a_task_without_words_of_its_own_is_told_by_its_title(monkeypatch):
    from services import summary

    monkeypatch.setattr(summary, "_DONE", {})
    assert "- Hub oil: done." in said(done=(Told("hub_oil_change"),))


def test_one_task_on_several_parts_is_one_sentence_with_the_places():
    done = (Told("brakes_check", "left brake"), Told("brakes_check", "right brake"), Told("brakes_check", "rear brake"))
    assert "- We checked and set the brakes (left brake, right brake and rear brake)." in said(done=done)


def test_what_a_larger_service_includes_is_not_told_by_itself():
    text = said(done=(Told("general_service"), Told("brakes_check", "left brake"), Told("hub_oil_change")))
    assert "brakes" not in text
    assert "oil of the gear hub" in text


@pytest.mark.parametrize(
    ("out", "into", "words"),
    [(True, True, "We replaced the chain."), (False, True, "We fitted the chain."), (True, False, "We took off the chain.")],
)  # fmt: skip
def test_swaps_are_told_by_their_place(out, into, words):
    assert f"- {words}" in said(changed=(Changed("chain", out, into),))


def test_a_measured_value_is_told_with_what_it_means():
    taken = (Taken("pad_mm", 0.9, "soon", "left brake"),)
    assert "- Brake pads (left brake): 0.9 mm, will have to be renewed soon." in said(taken=taken)


def test_a_pressure_is_told_in_the_owners_unit():
    assert say_value(1034.21, "kPa", "psi") == "150 psi"  # NIST SP 811 Appendix B
    assert say_value(1034.21, "kPa", "bar") == "10.3 bar"
    taken = Visit(DAY, taken=(Taken("shock_pressure", 1034.21, "ok"),))
    assert "- Air in the rear shock: 150 psi, good." in proposed(taken, "mi", "psi")


def test_counts_have_no_unit_and_whole_numbers_no_decimals():
    assert say_value(2.0, "tyres") == "2"
    assert say_value(1504.0, "Wh") == "1,504 Wh"
    assert say_value(0.75, "%") == "0.75 %"


def test_every_quantity_of_the_trade_can_be_told():
    for kind in all_kinds():
        for quantity in kind.quantities:
            assert "_" not in said(taken=(Taken(quantity.code, 1.0),))


def test_a_fault_is_told_with_its_warranty():
    assert "What we found:\n- Left brake: leaks. It is a warranty case." in said(
        faults=(Fault("left brake", "leakage", True),)
    )
    assert "- Rear shock: noisy or vibrates." in said(faults=(Fault("rear shock", "noise"),))


def test_what_was_left_and_what_to_look_at_before_riding_stand_last():
    text = said(left=(Told("lights_check"),), ride=("Try the brakes.",))
    assert text.endswith("Left for another time:\n- Lights and flag\n\nBefore you ride:\n- Try the brakes.")


def test_a_summary_fits_its_column():
    assert len(said(ride=("x" * 3000, "y" * 3000))) == LONGEST


def test_what_comes_next_is_told_soonest_first_with_its_range():
    ahead = [
        Ahead("Hub oil", date(2026, 9, 1), "mid-August to late September, most likely 1 September"),
        Ahead("Tyre pressure", date(2026, 5, 8), owner_can=True),
        Ahead("Lights and flag", date(2026, 4, 20)),
    ]
    assert next_lines(ahead, DAY) == [
        "Lights and flag: was due 20 Apr 2026.",
        "Tyre pressure (you can do it yourself): 8 May 2026.",
        "Hub oil: mid-August to late September, most likely 1 September.",
    ]


def test_only_the_next_few_are_told():
    assert len(next_lines([Ahead(f"Task {day}", date(2026, 6, day)) for day in range(1, 20)], DAY)) == 4


def test_a_summary_falls_into_paragraphs_and_lists():
    found = blocks("Hello.\r\nAgain.\r\n\r\nWhat we did:\r\n- one\r\n- two\r\n\r\n\r\n- \r\nBye.")
    assert [(block.lines, block.is_list) for block in found] == [
        (("Hello.", "Again."), False),
        (("What we did:",), False),
        (("one", "two"), True),
        (("Bye.",), False),
    ]


def test_a_line_alone_that_ends_with_a_colon_is_a_heading():
    first, second, third = blocks("What we did:\n- oil:\n\nAll is well.")
    assert (first.heading, second.heading, third.heading) == ("What we did", "", "")


def test_an_empty_summary_has_no_blocks():
    assert blocks(" \n ") == []
