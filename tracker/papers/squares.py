"""QR codes for papers, as SVG: sharp at any size. A plate label draws its own, in whole modules (labels.py)."""

import segno


def square(text: str) -> str:
    """Return the QR code (ISO/IEC 18004) of `text` as SVG that scales to any box, read with a quarter of it soiled (level Q)."""
    return segno.make(text, error="q", micro=False).svg_inline(border=2, omitsize=True, dark="#000", light="#fff")
