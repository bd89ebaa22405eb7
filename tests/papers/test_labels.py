"""The label as it leaves the printer: its true size, its quiet zone, and a code that another encoder agrees with."""

import re

import pytest

from services.plate_label import QUIET_MODULES, SIZES, Words
from tests.factories import NOW
from tests.papers.qr_reading import read
from tracker.papers.labels import label_pdf, label_svg

ADDRESS = "https://desk.larkfen.example.org/t/ABCDEFGHIJKLMNOP2345/"
WORDS = Words("LARK 342", "Larkfen Trikeworks", "+44 20 7946 0100")


def drawn(svg: str) -> list[list[bool]]:
    """The modules of the square with its quiet zone, read back from the SVG: rows of dark and light."""
    square = re.search(r'<svg x="[^>]*viewBox="0 0 (\d+) \1"[^>]*>(.*?)</svg>', svg, re.S)
    paths = re.findall(r"<path([^>]*)/>", square[2])
    path = next(p for p in paths if 'stroke="#000"' in p)
    side, dark, x, y = int(square[1]), set(), 0.0, 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", re.search(r' d="([^"]+)"', path)[1]):
        values = [float(number) for number in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", numbers)]
        if command == "h":
            dark |= {(int(y), int(x) + step) for step in range(int(values[0]))}
            x += values[0]
        else:
            x, y = (values[0], values[1]) if command == "M" else (x + values[0], y + values[1])
    return [[(row, col) in dark for col in range(side)] for row in range(side)]


def without_quiet_zone(rows: list[list[bool]]) -> list[list[bool]]:
    quiet = QUIET_MODULES
    edge = [*rows[:quiet], *rows[-quiet:], *(row[:quiet] + row[-quiet:] for row in rows)]
    assert not any(any(row) for row in edge), "something stands in the quiet zone"
    return [row[quiet:-quiet] for row in rows[quiet:-quiet]]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "address", [ADDRESS, "http://127.0.0.1:8000/t/ZZZZZZZZZZZZZZZZZZZZ/", "https://x.example/t/A/"]
)
def test_the_drawing_reads_as_its_address_with_a_quarter_of_it_soiled(size, address):
    assert read(without_quiet_zone(drawn(label_svg(size, address, WORDS)))) == (address, "q")


def test_the_reader_sees_one_module_out_of_place():
    rows = without_quiet_zone(drawn(label_svg("62x29", ADDRESS, WORDS)))
    rows[20][20] = not rows[20][20]
    with pytest.raises(AssertionError, match="error correction"):
        read(rows)


@pytest.mark.parametrize("size", SIZES)
def test_the_svg_has_its_true_size(size):
    svg = label_svg(size, ADDRESS, WORDS)
    assert f'width="{SIZES[size].width_mm:g}mm" height="{SIZES[size].height_mm:g}mm"' in svg
    assert "LARK 342" in svg
    assert "+44 20 7946 0100" in svg


@pytest.mark.parametrize("size", SIZES)
def test_the_pdf_has_one_page_of_its_true_size(size):
    pdf = label_pdf(size, ADDRESS, WORDS, now=NOW)
    box = re.search(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", pdf)
    assert float(box[1]) / 72 * 25.4 == pytest.approx(SIZES[size].width_mm, abs=0.05)
    assert float(box[2]) / 72 * 25.4 == pytest.approx(SIZES[size].height_mm, abs=0.05)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1


def test_a_plate_cannot_draw_anything_of_its_own():
    odd = Words('<script>"&\u202e', "W", "1")
    svg = label_svg("62x29", ADDRESS, odd)
    assert "<script>" not in svg
    assert "[U+202E]" in svg
    assert label_pdf("62x29", ADDRESS, Words("#eval(1)", "W", "1"), now=NOW).startswith(b"%PDF")


def test_a_long_address_gets_a_lower_level_before_its_modules_get_too_fine():
    long = "https://service-desk.a-workshop-with-a-long-name.example.org/t/ABCDEFGHIJKLMNOP2345/"
    assert read(without_quiet_zone(drawn(label_svg("25x25", long, WORDS)))) == (long, "m")
