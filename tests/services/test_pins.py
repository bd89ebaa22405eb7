import pytest

from services.pins import WeakPin, check_pin


@pytest.mark.parametrize("pin", ["4071", "90210", "20262607"])
def test_four_to_eight_digits_are_a_pin(pin):
    check_pin(pin)


@pytest.mark.parametrize(
    "pin", ["", "407", "407140714", "4o71", "40 71", "٤٠٧١", "1111", "1234", "7890", "4321", "09876543"]
)
def test_what_is_no_pin_or_tried_first_is_refused(pin):
    with pytest.raises(WeakPin) as refusal:
        check_pin(pin)
    assert refusal.value.field == "pin"
