"""Cells that hold several named values: 'rated_wh=504; nominal_v=36' or 'chain_elongation_pct=0,62; pitches=50'."""

import re

from tracker.spreadsheets.refusals import BadText
from tracker.spreadsheets.row import Row
from tracker.spreadsheets.values import to_text

PAIR = re.compile(r"([A-Za-z][A-Za-z0-9_]*)\s*=\s*(\S.*)")
VALUE_AND_UNIT = re.compile(r"([+-]?[0-9][0-9.,\u00a0\u202f ]*?)\s*([A-Za-z%°µ][A-Za-z0-9%°/²³·]*)?")


def pairs_of(row: Row, column: str) -> dict[str, str]:
    """Return name -> value as written. Notes a problem and answers {} when the cell is not made of pairs."""
    if row.is_blank(column):
        return {}
    found: dict[str, str] = {}
    try:
        for part in to_text(row.cells[column], column).split(";"):
            if not part.strip():
                continue
            name, value = _pair(part.strip(), column)
            if name in found:
                raise BadText(f"'{name}' stands there twice.", field=column, remedy="Keep one of the two.")
            found[name] = value
    except BadText as problem:
        row.refuse(problem)
        return {}
    return found


def _pair(part: str, column: str) -> tuple[str, str]:
    match = PAIR.fullmatch(part)
    if match is None:
        raise BadText(
            f"'{part[:40]}' is not a name with a value.",
            field=column,
            remedy="Write name=value; name=value, for example rated_wh=504.",
        )
    return match[1].casefold(), match[2].strip()


def number_and_unit(text: str) -> tuple[str, str]:
    """Return the digits and the unit of '12,5 psi'; the whole text and no unit when it does not look like that."""
    match = VALUE_AND_UNIT.fullmatch(text)
    return (match[1].strip(), match[2] or "") if match else (text, "")
