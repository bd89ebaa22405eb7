"""The demo's files, read once, with nothing but the standard library and openpyxl."""

import csv
import re
from datetime import date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import openpyxl
import pytest

from services.identity import canonical_serial

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DAY_STYLES = ("%Y-%m-%d", "%d.%m.%Y", "%d %b %Y")


def read_csv(path: Path, encoding: str, delimiter: str = ",") -> list[dict[str, str]]:
    """Return the rows of a CSV file by column."""
    with path.open(encoding=encoding, newline="") as lines:
        return list(csv.DictReader(lines, delimiter=delimiter))


def read_workbook(path: Path) -> list[tuple[Any, ...]]:
    """Return the cells of the sheet Deliveries, header first."""
    book = openpyxl.load_workbook(path)
    return [tuple(cell.value for cell in row) for row in book["Deliveries"].iter_rows()]


def day_of(cell: Any) -> date:
    """Return the day a cell tells, in whatever style."""
    if isinstance(cell, datetime):
        return cell.date()
    for style in DAY_STYLES:
        try:
            return datetime.strptime(re.sub(r"\s+", " ", cell.strip()), style).date()
        except ValueError:
            continue
    raise ValueError(cell)


def serial_of(cell: str | None) -> str:
    """Return the canonical serial in a cell, '' for a blank one."""
    return canonical_serial(cell) if cell and cell.strip() else ""


@pytest.fixture(scope="session")
def demo() -> SimpleNamespace:
    """All files of the demo."""
    header, *deliveries = read_workbook(FIXTURES / "deliveries.xlsx")
    return SimpleNamespace(
        anchor=date.fromisoformat((FIXTURES / "anchor.txt").read_text().strip()),
        catalogue=read_csv(FIXTURES / "catalogue.csv", "utf-8"),
        parts=read_csv(FIXTURES / "parts.csv", "utf-8-sig", ";"),
        deliveries=[dict(zip(header, row, strict=True)) for row in deliveries],
        odometer=read_csv(FIXTURES / "odometer.csv", "utf-8"),
        book=read_csv(FIXTURES / "service_book.csv", "cp1252"),
    )
