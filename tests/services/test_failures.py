import pytest

from services.failures import CAUSES, FOUND, MODES, BadFailureCode, check_failure, modes_for
from services.parts import PART_KINDS


def test_every_word_on_the_lists_is_taken():
    for mode in MODES:
        for cause in CAUSES:
            for found in FOUND:
                check_failure(mode, cause, found)


def test_cause_and_detection_may_be_left_open():
    check_failure("leakage")


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ("mode", ("gremlins", "", "")),
        ("mode", ("", "", "")),
        ("cause", ("wear", "gremlins", "")),
        ("found", ("wear", "", "gremlins")),
    ],
)
def test_a_word_off_the_list_is_refused_by_field(field, words):
    with pytest.raises(BadFailureCode) as refusal:
        check_failure(*words)
    assert refusal.value.field == field
    assert "One of" in refusal.value.remedy


@pytest.mark.parametrize("kind", PART_KINDS)
def test_each_kind_of_part_has_a_short_list_of_its_own_that_ends_with_other(kind):
    modes = list(modes_for(kind))
    assert 3 < len(modes) + 1 <= 8
    assert modes[-1] == "other"
    for mode in modes:
        check_failure(mode)


def test_a_battery_is_not_offered_what_only_a_hub_does():
    assert "leakage" in modes_for("hub_geared")
    assert "leakage" not in modes_for("battery")


def test_a_kind_nobody_listed_is_offered_every_mode():
    assert modes_for("flux_capacitor") == MODES
