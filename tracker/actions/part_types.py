"""The catalogue: what a component is, by whom, with its rated values."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from services.identity import canonical_serial, clean_text
from services.parts import check_rated
from tracker.actions.refusals import (
    SerialAlreadyKnown,
)
from tracker.actions.steps import assign, lock_version, only_these
from tracker.actions.transactions import action
from tracker.models import PartType, User

PART_TYPE_CHANGES = {"maker", "name", "rated"}


@action
def add_part_type(
    *, kind: str, part_number: str, name: str, maker: str = "", rated: Mapping[str, Any] | None = None,
    by: User | None = None, now: datetime,
) -> PartType:  # fmt: skip
    """Add a catalogue entry. Raises BadRatedValues, SerialAlreadyKnown."""
    number = canonical_serial(part_number)
    if PartType.objects.filter(part_number=number).exists():
        raise SerialAlreadyKnown(
            f"Part number {number} is in the catalogue already.",
            field="part_number",
            remedy="Change that entry instead.",
        )
    return PartType.objects.create(
        kind=kind, part_number=number, name=clean_text(name, 120), maker=clean_text(maker, 80),
        rated=check_rated(kind, dict(rated or {})),
    )  # fmt: skip


@action
def change_part_type(
    *, part_type_id: int, version: int | None, changes: Mapping[str, Any], by: User | None, now: datetime
) -> PartType:
    """Change maker, name or rated values. Raises StaleVersion, FieldNotChangeable, BadRatedValues."""
    row = lock_version(PartType, part_type_id, version)
    only_these(changes, PART_TYPE_CHANGES)
    values = dict(changes)
    if "rated" in values:
        values["rated"] = check_rated(row.kind, dict(values["rated"]))
    assign(row, values)
    return row
