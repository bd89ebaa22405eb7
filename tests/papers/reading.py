"""Reading a PDF back as a person or a screen reader would."""

import io

from pypdf import PdfReader


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def words_of(pdf: bytes) -> str:
    """All text of all pages, blanks and line ends single."""
    return " ".join(" ".join(page.extract_text() for page in read(pdf).pages).split())


def right_edges(pdf: bytes) -> list[float]:
    """Where each piece of text begins, in mm from the left edge of its page."""
    found = []
    for page in read(pdf).pages:
        page.extract_text(visitor_text=lambda text, cm, tm, font, size: found.append((cm[4] + tm[4]) * 25.4 / 72))
    return found
