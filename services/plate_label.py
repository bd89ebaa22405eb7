"""The plate label: what stands where on it, in millimetres, for the sizes of common label printers.

The QR code keeps its quiet zone of four modules on every side (ISO/IEC 18004). A module should be at least 0.38 mm wide
for phones to read it at arm's length (common practice, no source). Letters are set in a font of fixed width, so that a
text is as wide as it is long.
"""

from collections.abc import Sequence
from dataclasses import dataclass

QUIET_MODULES = 4
LEAST_MODULE_MM = 0.38
ADVANCE = 0.6021  # width of a letter by its size: DejaVu Sans Mono, 1233 of 2048 units
CAP_HEIGHT = 0.73
EDGE_MM = 1.0  # what printers may shift


@dataclass(frozen=True)
class Size:
    """A label as it is sold: width across, height along."""

    code: str
    width_mm: float
    height_mm: float

    @property
    def title(self) -> str:
        """The size as printers name it."""
        return f"{self.width_mm:g} × {self.height_mm:g} mm"


_LIST = (Size("62x29", 62, 29), Size("50x25", 50, 25), Size("100x50", 100, 50), Size("25x25", 25, 25))
SIZES: dict[str, Size] = {size.code: size for size in _LIST}


@dataclass(frozen=True)
class Line:
    """One line of text: baseline and left end, size of the letters, all in mm."""

    text: str
    x: float
    y: float
    size: float
    bold: bool = False

    @property
    def width(self) -> float:
        """How wide the line is."""
        return len(self.text) * ADVANCE * self.size


@dataclass(frozen=True)
class Layout:
    """Where the code and the lines stand."""

    size: Size
    qr_x: float
    qr_y: float
    qr_side: float  # with its quiet zone
    module: float
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Words:
    """What is printed beside the code."""

    plate: str
    workshop: str
    phone: str


def lay_out(size: Size, modules: int, words: Words) -> Layout:
    """Return the label of `size` for a QR code of `modules` a side, quiet zone not counted."""
    return _beside(size, modules, words) if size.width_mm > 1.3 * size.height_mm else _below(size, modules, words)


def _beside(size: Size, modules: int, words: Words) -> Layout:
    """The code left over the whole height, the words right of it; its own quiet zone is the space between."""
    side = size.height_mm - 2 * EDGE_MM
    left = EDGE_MM + side
    width, unit = size.width_mm - left - EDGE_MM, size.height_mm / 10
    wanted = [(words.plate, 2.2 * unit, True), (words.workshop, unit, False),
              ("Found it? Scan or call", unit, False), (words.phone, 1.3 * unit, True)]  # fmt: skip
    lines = _stack(
        [(text, _fitting(text, width, most), bold) for text, most, bold in wanted if text], left, size.height_mm
    )
    return Layout(size, EDGE_MM, EDGE_MM, side, side / (modules + 2 * QUIET_MODULES), lines)


def _below(size: Size, modules: int, words: Words) -> Layout:
    """The code above, plate and telephone below it."""
    width = size.width_mm - 2 * EDGE_MM
    wanted = [(words.plate, 3.0, True), (words.phone, 2.2, False)]
    sized = [(text, _fitting(text, width, most), bold) for text, most, bold in wanted if text]
    depth = sum(letter * CAP_HEIGHT + 0.7 for _, letter, _ in sized)
    side = min(size.height_mm - depth - EDGE_MM, width + EDGE_MM)
    lines, y = [], side
    for text, letter, bold in sized:
        y += letter * CAP_HEIGHT
        lines.append(Line(text, (size.width_mm - len(text) * ADVANCE * letter) / 2, y, letter, bold))
        y += 0.7
    x = (size.width_mm - side) / 2
    return Layout(size, x, 0.0, side, side / (modules + 2 * QUIET_MODULES), tuple(lines))


def _fitting(text: str, width: float, most: float) -> float:
    """The size at which `text` fills `width`, `most` at the most."""
    return round(min(most, width / (ADVANCE * len(text))), 3)


def _stack(sized: Sequence[tuple[str, float, bool]], left: float, height: float) -> tuple[Line, ...]:
    """The lines one below the other, with even gaps, in the middle of the height."""
    caps = [letter * CAP_HEIGHT for _, letter, _ in sized]
    gap = min(height * 0.11, (height - 2 * EDGE_MM - sum(caps)) / max(len(sized) - 1, 1))
    y = (height - sum(caps) - gap * (len(sized) - 1)) / 2
    lines = []
    for (text, letter, bold), cap in zip(sized, caps, strict=True):
        y += cap
        lines.append(Line(text, left, round(y, 3), letter, bold))
        y += gap
    return tuple(lines)
