"""Parts files: one component per row, by serial or batch; unknown part types are made when the row describes them."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from tracker.actions.bulletin_steps import follow_bulletins
from tracker.actions.importing.part_types import KINDS, TypeBook, clash_of_types, rated_of
from tracker.actions.importing.plan import BULK, Clash, Context, NotKnown, Plan, Verdicts, Written, rows_in
from tracker.models import Component, PartType
from tracker.spreadsheets.refusals import MissingCell
from tracker.spreadsheets.row import Row
from tracker.spreadsheets.sheet import say

STATES = {
    "in stock": Component.State.IN_STOCK,
    "stock": Component.State.IN_STOCK,
    "quarantined": Component.State.QUARANTINED,
    "returned": Component.State.RETURNED,
    "scrapped": Component.State.SCRAPPED,
}


def examine(rows: Sequence[Row], context: Context) -> Plan:
    """Judge every row against the register and the rest of the file."""
    verdicts = Verdicts(rows)
    desk = _Intake(rows, context)
    for row in verdicts.fresh():
        desk.examine_row(row, verdicts)
    verdicts.settle()
    return Plan(verdicts, desk.write)


class _Intake:
    """The register as the file meets it, growing with every row."""

    def __init__(self, rows: Sequence[Row], context: Context) -> None:
        self.context = context
        self.types = TypeBook.of(rows)
        serials = {Row(row.number, row.cells).serial("Serial") for row in rows}
        batches = {Row(row.number, row.cells).text("Batch", 40) for row in rows if row.is_blank("Serial")} - {""}
        known = Component.objects.select_related("part_type")
        self.by_serial = {row.serial: row for row in rows_in(known, "serial", serials)}
        self.batched = {_batch_key(row) for row in rows_in(known.filter(serial__isnull=True), "batch", batches)}
        self.rows: dict[str, int] = {}
        self.added: list[Component] = []

    def examine_row(self, row: Row, verdicts: Verdicts) -> None:
        """Note the row's problems or take its component in."""
        serial = row.serial("Serial")
        part_type = self._part_type(row)
        piece = Component(
            serial=serial, serial_as_typed=say(row.cells["Serial"]).strip()[:60], batch=row.text("Batch", 40),
            made_on=row.day("Made on", self.context.shift_days, self.context.today), firmware=row.text("Firmware", 40),
            state=row.choice("State", STATES) or Component.State.IN_STOCK, note=row.text("Note", 500),
        )  # fmt: skip
        if row.is_blank("Serial") and not piece.batch:
            row.refuse(MissingCell("Neither a serial nor a batch.", field="Serial", remedy="Fill in one of the two."))
        if row.problems or part_type is None:
            return
        piece.part_type = part_type
        if self._is_new(row, piece, verdicts):
            self.added.append(piece)

    def _is_new(self, row: Row, piece: Component, verdicts: Verdicts) -> bool:
        if piece.serial is None:
            if _batch_key(piece) in self.batched:
                verdicts.skip(row, "Already registered.")
                return False
            return True
        known = self.by_serial.get(piece.serial)
        if known is None:
            self.by_serial[piece.serial], self.rows[piece.serial] = piece, row.number
            return True
        earlier = self.rows.get(piece.serial)
        if earlier is None and known.part_type.part_number == piece.part_type.part_number:
            verdicts.skip(row, "Already registered.")
        elif earlier is not None and _same_piece(known, piece):
            verdicts.skip(row, f"Same as row {earlier}.")
        elif earlier is not None:
            row.refuse(
                Clash(
                    f"Serial {piece.serial} stands in row {earlier} too, with other values.", field="Serial",
                    remedy="Keep the right one of the two rows.",
                )
            )  # fmt: skip
        else:
            row.refuse(
                Clash(
                    f"Serial {piece.serial} is registered as part number {known.part_type.part_number}.",
                    field="Serial",
                    remedy="Check the serial and the part number.",
                )
            )
        return False

    def _part_type(self, row: Row) -> PartType | None:
        number = row.serial("Part number", needed=True)
        kind = row.choice("Kind", KINDS)
        if number is None or row.problems:
            return None
        known = self.types.get(number)
        if known is not None:
            self._check_same(row, known, kind)
            return known
        if kind is None:
            row.refuse(
                NotKnown(
                    f"Part number {number} is not in the catalogue.{self.types.hints.near(number)}",
                    field="Part number",
                    remedy="Import the catalogue first, or fill in kind and rated values.",
                )
            )
            return None
        return self.types.add(row, kind, number)

    def _check_same(self, row: Row, known: PartType, kind: str | None) -> None:
        """A row may repeat kind and rated values of its part type, but not contradict them."""
        rated: dict[str, Any] = {} if row.is_blank("Rated values") else rated_of(row, known.kind)
        if (kind and kind != known.kind) or (rated and rated != known.rated):
            earlier = self.types.rows.get(known.part_number)
            row.refuse(clash_of_types(known.part_number, f"in row {earlier}" if earlier else "in the catalogue"))

    def write(self) -> Written:
        """Insert new part types, then the components."""
        self.types.write()
        for piece in self.added:
            piece.part_type_id = piece.part_type.pk
        Component.objects.bulk_create(self.added, batch_size=BULK)
        follow_bulletins([piece.pk for piece in self.added], self.context.now)
        return Written()


def _batch_key(piece: Component) -> tuple[str, str, date | None, str, str]:
    return piece.part_type.part_number, piece.batch, piece.made_on, piece.firmware, piece.note


def _same_piece(one: Component, other: Component) -> bool:
    """Whether two rows of one serial say the same, however they were typed."""
    names = ("part_type", "batch", "made_on", "firmware", "state", "note")
    return all(getattr(one, name) == getattr(other, name) for name in names)
