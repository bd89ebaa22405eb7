"""Where code and words stand on a label: in true millimetres, with the quiet zone, inside the paper."""

import pytest

from services.plate_label import CAP_HEIGHT, EDGE_MM, LEAST_MODULE_MM, QUIET_MODULES, SIZES, Words, lay_out

WORDS = Words("LARK 342", "Larkfen Trikeworks", "+44 20 7946 0100")
MODULES = 37  # version 5 (ISO/IEC 18004): 17 + 4 x version


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("plate", ["", "LT-1", "L" * 40])
def test_everything_stands_on_the_paper(size, plate):
    found = lay_out(SIZES[size], MODULES, Words(plate, WORDS.workshop, WORDS.phone))
    width, height = found.size.width_mm, found.size.height_mm
    assert found.qr_x >= 0
    assert found.qr_x + found.qr_side <= width + 1e-9
    assert found.qr_y + found.qr_side <= height + 1e-9
    for line in found.lines:
        assert line.x >= EDGE_MM - 1e-2
        assert line.x + line.width <= width - EDGE_MM + 1e-2, line
        assert line.y - line.size * CAP_HEIGHT >= 0
        assert line.y <= height


@pytest.mark.parametrize("size", SIZES)
def test_no_word_stands_in_the_quiet_zone(size):
    found = lay_out(SIZES[size], MODULES, WORDS)
    right, below = found.qr_x + found.qr_side, found.qr_y + found.qr_side
    assert found.module * (MODULES + 2 * QUIET_MODULES) == pytest.approx(found.qr_side)
    assert all(line.x >= right - 1e-9 or line.y - line.size * CAP_HEIGHT >= below - 1e-9 for line in found.lines)


@pytest.mark.parametrize("size", SIZES)
def test_a_module_is_wide_enough_for_a_phone(size):
    assert lay_out(SIZES[size], MODULES, WORDS).module >= LEAST_MODULE_MM


@pytest.mark.parametrize("size", SIZES)
def test_plate_and_telephone_are_on_every_size(size):
    told = [line.text for line in lay_out(SIZES[size], MODULES, WORDS).lines]
    assert WORDS.plate in told
    assert WORDS.phone in told


def test_without_a_plate_there_is_no_empty_line():
    for size in SIZES.values():
        assert all(line.text for line in lay_out(size, MODULES, Words("", "W", "1")).lines)


def test_a_size_is_named_as_printers_name_it():
    assert SIZES["62x29"].title == "62 × 29 mm"
