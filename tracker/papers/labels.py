"""The plate label as SVG and PDF in its true size. It carries an address with a random code, no serial and no name."""

from datetime import datetime
from functools import lru_cache
from xml.sax.saxutils import escape

import segno

from services.identity import visible
from services.plate_label import LEAST_MODULE_MM, QUIET_MODULES, SIZES, Layout, Line, Words, lay_out
from tracker.papers.printing import print_paper

FONT = "DejaVu Sans Mono"


def label_svg(size: str, address: str, words: Words) -> str:
    """Return the label as SVG, its width and height in mm. `size` is a code of services.plate_label.SIZES."""
    code, layout = _drawn(size, address, words)
    width, height = layout.size.width_mm, layout.size.height_mm
    place = f'x="{layout.qr_x:g}" y="{layout.qr_y:g}" width="{layout.qr_side:g}" height="{layout.qr_side:g}"'
    square = _square(code).replace("<svg ", f'<svg {place} shape-rendering="crispEdges" ', 1)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" role="img"><title>{escape(f"Plate label {words.plate}")}</title>'
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>{square}'
        f"{''.join(_svg_line(line) for line in layout.lines)}</svg>"
    )


def label_pdf(size: str, address: str, words: Words, *, now: datetime) -> bytes:
    """Return the label as a PDF of one page in its true size."""
    code, layout = _drawn(size, address, words)
    data = {
        "title": f"Plate label {words.plate}".strip(), "width": layout.size.width_mm, "height": layout.size.height_mm,
        "square": _square(code), "x": layout.qr_x, "y": layout.qr_y, "side": layout.qr_side,
        "lines": [
            {"text": line.text, "x": line.x, "y": line.y, "size": line.size, "bold": line.bold} for line in layout.lines
        ],
    }  # fmt: skip
    return print_paper("label", data, now=now)


def _drawn(size: str, address: str, words: Words) -> tuple[segno.QRCode, Layout]:
    """The code and where it stands: readable with a quarter of it soiled (level Q), less where it would get too fine."""
    words = Words(*(visible(text).strip() for text in (words.plate, words.workshop, words.phone)))
    for level in ("q", "m"):
        code = qr_code(address, level)
        layout = lay_out(SIZES[size], code.symbol_size(border=0)[0], words)
        if layout.module >= LEAST_MODULE_MM:
            break
    return code, layout


@lru_cache(maxsize=64)
def qr_code(address: str, level: str) -> segno.QRCode:
    """Return the QR code of an address at an error correction level."""
    return segno.make(address, error=level, micro=False, boost_error=False)


def _square(code: segno.QRCode) -> str:
    return code.svg_inline(
        border=QUIET_MODULES, omitsize=True, dark="#000", light="#fff", svgclass=None, lineclass=None
    )


def _svg_line(line: Line) -> str:
    weight = ' font-weight="bold"' if line.bold else ""
    return (
        f'<text x="{line.x:.3f}" y="{line.y:.3f}" font-family="\'{FONT}\', monospace" font-size="{line.size:g}"{weight} '
        f'textLength="{line.width:.3f}" lengthAdjust="spacingAndGlyphs">{escape(line.text)}</text>'
    )
