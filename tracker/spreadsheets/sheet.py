"""What a file holds once it is read: a header and rows of cells, numbered as the spreadsheet numbers them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Formula:
    """A cell that computes its value. We do not compute."""

    text: str


@dataclass(frozen=True)
class Broken:
    """A cell that shows an error such as #REF!."""

    text: str


Cell = str | int | float | bool | datetime | Formula | Broken | None


@dataclass(frozen=True)
class Sheet:
    """One table as read. `rows` are (number, cells); the header is row 1 unless blank rows stand above it."""

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    notes: tuple[str, ...] = ()  # how it was read, for the preview: encoding, sheet name


def is_blank(cell: Cell) -> bool:
    """Whether nothing can be seen in the cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def say(cell: Cell) -> str:
    """Return what the cell shows, as the preview repeats it."""
    if isinstance(cell, str):
        return str(cell)
    if cell is None:
        return ""
    if isinstance(cell, Formula | Broken):
        return cell.text
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == datetime.min.time() else cell.isoformat(" ")
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell)


def trim(cells: Sequence[Cell]) -> tuple[Cell, ...]:
    """Drop the blank cells at the end of a row."""
    end = len(cells)
    while end and is_blank(cells[end - 1]):
        end -= 1
    return tuple(cells[:end])
