import pytest

from services.failures import CAUSES, FOUND, MODES, BadFailureCode, check_failure


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
