"""The five kinds of file and their columns, as the workshop's spreadsheets name them."""

from difflib import get_close_matches

from tracker.spreadsheets.refusals import WrongHeader
from tracker.spreadsheets.row import Row
from tracker.spreadsheets.sheet import Sheet

LAYOUTS: dict[str, tuple[str, ...]] = {
    "catalogue": ("Part number", "Kind", "Maker", "Name", "Rated values"),
    "parts": (
        "Serial", "Batch", "Part number", "Kind", "Maker", "Name", "Made on", "Firmware", "Rated values", "State",
        "Note",
    ),
    "deliveries": (
        "Frame serial", "Plate", "Model", "Delivered", "Owner", "E-mail", "Phone", "Time zone", "Units", "Consent",
        "Built by", "Second signature", "Odometer at handover", "Odo unit", "Rider mass kg", "Shock pressure",
        "Shock unit", "Elastomer grade", "Toe-in mm", "Boom motor", "Battery", "Display", "Rear hub", "Chain",
        "Rear shock", "Elastomer left", "Elastomer right", "Brake left", "Brake right", "Seat",
    ),
    "odometer": ("Date", "Trike", "Reading", "Unit", "Source", "Note"),
    "service_book": (
        "Date", "Frame serial", "Job", "Odometer", "Unit", "Task", "Measured", "Complaint", "Cause", "Correction",
        "Position", "Old serial", "New serial", "Old part fate", "Minutes", "Mechanic",
    ),
}  # fmt: skip
# Columns that are read where a file has them. Language: what the owner reads, en or English, de, Deutsch or German; blank: en.
OPTIONAL: dict[str, tuple[str, ...]] = {
    "deliveries": ("Language",),
    "service_book": ("Failure mode", "Failure cause", "Found", "Warranty"),
}
ORDER = tuple(LAYOUTS)  # a kind may need what the kinds before it wrote; display changes come before job cards

SHEET_TITLES = {
    "catalogue": ("Catalogue",),
    "parts": ("Parts",),
    "deliveries": ("Deliveries",),
    "service_book": ("Service book",),
    "odometer": ("Odometer",),
}


def all_titles() -> tuple[str, ...]:
    """Return the sheet names looked for in a workbook of unknown kind."""
    return tuple(title for titles in SHEET_TITLES.values() for title in titles)


def guess_kind(header: tuple[str, ...]) -> str:
    """Return the kind whose columns the header has; the fullest match when several fit.

    Raises: WrongHeader naming the kind that comes closest and what it misses.
    """
    have = {_fold(name) for name in header}
    missing = {kind: [name for name in names if _fold(name) not in have] for kind, names in LAYOUTS.items()}
    whole = [kind for kind, names in missing.items() if not names]
    if whole:
        return max(whole, key=lambda kind: len(LAYOUTS[kind]))
    nearest = min(missing, key=lambda kind: len(missing[kind]) / len(LAYOUTS[kind]))
    raise _missing(nearest, missing[nearest], header)


def rows_of(sheet: Sheet, kind: str) -> tuple[list[Row], list[str]]:
    """Return the rows by column name, and the names of columns that the import does not read.

    Raises: WrongHeader.
    """
    places: dict[str, int] = {}
    for place, name in enumerate(sheet.header):
        if name and _fold(name) in places:
            raise WrongHeader(
                f"The column '{name}' stands there twice.", field=name, remedy="Delete or rename one of the two."
            )
        places[_fold(name)] = place
    columns = LAYOUTS[kind]
    missing = [name for name in columns if _fold(name) not in places]
    if missing:
        raise _missing(kind, missing, sheet.header)
    asked = [*columns, *(name for name in OPTIONAL.get(kind, ()) if _fold(name) in places)]
    where = {name: places[_fold(name)] for name in asked}
    known = {_fold(name) for name in asked}
    unread = [name for name in sheet.header if name and _fold(name) not in known]
    width = len(sheet.header)
    return [Row.of(number, cells, where, width) for number, cells in sheet.rows], unread


def _missing(kind: str, missing: list[str], header: tuple[str, ...]) -> WrongHeader:
    words = []
    by_fold = {_fold(name): name for name in header}
    for name in missing:
        near = get_close_matches(_fold(name), by_fold, n=1, cutoff=0.6)
        words.append(f"'{name}' (is '{by_fold[near[0]]}' meant?)" if near else f"'{name}'")
    return WrongHeader(
        f"The header of a {kind.replace('_', ' ')} file misses {', '.join(words)}.",
        field=missing[0],
        remedy=f"The first row must name these columns: {', '.join(LAYOUTS[kind])}.",
    )


def _fold(name: str) -> str:
    return "".join(name.casefold().split()).replace("_", "").replace("-", "")
