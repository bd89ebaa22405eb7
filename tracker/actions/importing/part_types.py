"""Part types as files name them: looked up by part number, or made when kind and rated values are given."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from services.errors import Refusal
from services.parts import PART_KINDS, BadRatedValues, check_rated, read_table
from tracker.actions.importing.hints import Hints
from tracker.actions.importing.plan import BULK, Clash, NotKnown, rows_in
from tracker.models import PartType
from tracker.spreadsheets.pairs import number_and_unit, pairs_of
from tracker.spreadsheets.refusals import NotANumber
from tracker.spreadsheets.row import Row
from tracker.spreadsheets.values import to_number

KINDS = {word: code for code, kind in PART_KINDS.items() for word in (kind.title, code)}


@dataclass
class TypeBook:
    """The part types of the database that a file names, and those it adds."""

    known: dict[str, PartType]
    added: dict[str, PartType] = field(default_factory=dict)
    rows: dict[str, int] = field(default_factory=dict)  # part number -> row that added it
    hints: Hints = field(default_factory=lambda: Hints(lambda: PartType.objects.values_list("part_number", flat=True)))

    @classmethod
    def of(cls, rows: Iterable[Row]) -> "TypeBook":
        """Look up all part numbers of the file."""
        numbers = {_number_quietly(row) for row in rows}
        return cls({row.part_number: row for row in rows_in(PartType.objects.all(), "part_number", numbers)})

    def get(self, number: str) -> PartType | None:
        """Return the part type, known or added."""
        return self.known.get(number) or self.added.get(number)

    def add(self, row: Row, kind: str, number: str) -> PartType | None:
        """Make a part type from the row; note what is wrong with it."""
        rated = rated_of(row, kind)
        made = PartType(
            kind=kind,
            part_number=number,
            maker=row.text("Maker", 80),
            name=row.text("Name", 120) or number,
            rated=rated,
        )
        if row.problems:
            return None
        self.added[number], self.rows[number] = made, row.number
        return made

    def write(self) -> None:
        """Insert the added part types."""
        PartType.objects.bulk_create(self.added.values(), batch_size=BULK)


def _number_quietly(row: Row) -> str | None:
    """The canonical part number, without noting problems: the row is read again later."""
    look = Row(row.number, row.cells)
    return look.serial("Part number")


def rated_of(row: Row, kind: str) -> dict[str, Any]:
    """Return the checked rated values of a row; note what is wrong with them."""
    types = {rated.name: rated.type for rated in PART_KINDS[kind].rated}
    values: dict[str, Any] = {}
    for name, text in pairs_of(row, "Rated values").items():
        values[name] = _rated_value(row, name, text, types.get(name, "text"))
    if row.problems:
        return {}
    try:
        return check_rated(kind, values)
    except BadRatedValues as refusal:
        words = " ".join(problem.message for problem in refusal.problems)
        row.refuse(NotKnown(words, field="Rated values", remedy=_rated_remedy(kind)))
    except Refusal as refusal:
        refusal.field = "Rated values"
        row.refuse(refusal)
    return {}


def _rated_value(row: Row, name: str, text: str, kind: str) -> Any:
    """The value as its type asks for; a table stands in the cell as '75: 960, 95: 1150'."""
    if kind == "number":
        return _rated_number(row, name, text)
    return read_table(text) if kind == "table" else text


def _rated_number(row: Row, name: str, text: str) -> float | int | None:
    digits, _ = number_and_unit(text)
    try:
        number = to_number(digits, "Rated values")
    except NotANumber as problem:
        problem.message = f"{name}: {problem.message}"
        row.refuse(problem)
        return None
    return int(number) if number == int(number) else float(number)


def _rated_remedy(kind: str) -> str:
    names = ", ".join(rated.name for rated in PART_KINDS[kind].rated)
    return f"Rated values of a {PART_KINDS[kind].title}: {names or 'none'}."


def describe(part: PartType) -> tuple[str, str, str, str]:
    """Return what must agree when a part type is named again."""
    return part.kind, part.maker, part.name, str(sorted(part.rated.items()))


def clash_of_types(number: str, where: str) -> Clash:
    """Return the refusal of a part number that stands for something else already."""
    return Clash(
        f"Part number {number} stands {where} with other values.",
        field="Part number",
        remedy="Use another part number, or change the catalogue entry at the desk.",
    )
