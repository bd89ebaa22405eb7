"""Build lists: what a model is built from, position by position; written by hand or taken from delivered trikes."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from services.identity import clean_text
from services.positions import POSITIONS, check_position
from tracker.actions.refusals import Conflict, Invalid, NotEnough
from tracker.actions.steps import lock_version
from tracker.actions.transactions import action
from tracker.models import BuildList, BuildListLine, Fitment, PartType, Trike, User

MOST_CARRY = 0.5  # a position stands on a list taken from trikes when at least this share of them carries it
NEARLY_ALL = 0.9  # and is required when at least this share does, where a build normally records a serial
USUAL = 2 / 3  # a part type is the usual one when at least this share of the pieces there is of it


class ModelHasAList(Conflict):
    """There is a build list for this model already."""

    code = "model-has-a-list"


@dataclass(frozen=True)
class Line:
    """One position of a list: which part type usually goes there (None: it varies), and whether it must be there."""

    position: str
    part_type_id: int | None = None
    required: bool = True


@action
def add_build_list(*, model: str, lines: Sequence[Line] = (), by: User | None, now: datetime) -> BuildList:
    """Begin the build list of a model. Raises NotEnough, ModelHasAList, WrongPosition, Invalid."""
    return _begin(model, lines)


@action
def change_build_list(
    *, build_list_id: int, version: int | None, lines: Sequence[Line], by: User | None, now: datetime
) -> BuildList:
    """Replace the lines of a list. Raises StaleVersion, WrongPosition, Invalid."""
    row = lock_version(BuildList, build_list_id, version)
    _check(lines)
    row.lines.all().delete()
    _write(row, lines)
    row.version += 1
    row.save(update_fields=["version"])
    return row


@action
def build_list_from_trikes(*, trike_ids: Sequence[int], model: str = "", by: User | None, now: datetime) -> BuildList:
    """Make a model's list from what delivered trikes of it carry now. Without `model` the first trike names it.

    Of one trike everything it carries stands on the list; of several, what most of them carry.
    Raises NotEnough (no such trike, or it carries nothing), ModelHasAList.
    """
    trikes = list(Trike.objects.filter(pk__in=trike_ids).exclude(state=Trike.State.IN_BUILD).order_by("pk"))
    if not trikes:
        raise NotEnough("No delivered trike to take the list from.", field="trike", remedy="Choose a delivered trike.")
    lines = _lines_of([trike.pk for trike in trikes])
    if not lines:
        raise NotEnough(f"Trike {trikes[0]} carries nothing.", field="trike", remedy="Choose another one.")
    return _begin(model or trikes[0].model, lines)


def _lines_of(trike_ids: Sequence[int]) -> list[Line]:
    found: dict[str, Counter[int]] = defaultdict(Counter)
    fitted = Fitment.objects.current().filter(trike__in=trike_ids)
    for position, part_type_id in fitted.values_list("position", "component__part_type_id"):
        found[position][part_type_id] += 1
    lines = []
    for code, place in POSITIONS.items():
        share = found[code].total() / len(trike_ids)
        if share < MOST_CARRY:
            continue
        part_type_id, pieces = found[code].most_common(1)[0]
        usual = part_type_id if pieces >= USUAL * found[code].total() else None
        lines.append(Line(code, usual, place.serial_expected and share >= NEARLY_ALL))
    return lines


def _begin(model: str, lines: Sequence[Line]) -> BuildList:
    name = " ".join(clean_text(model, 80).split())
    if not name:
        raise NotEnough("A build list belongs to a model.", field="model", remedy="Enter the model's name.")
    if BuildList.objects.filter(model__iexact=name).exists():
        raise ModelHasAList(f"{name} has a build list.", field="model", remedy="Change that one.")
    _check(lines)
    row = BuildList.objects.create(model=name)
    _write(row, lines)
    return row


def _check(lines: Sequence[Line]) -> None:
    """Raise what is wrong with a line, naming its position."""
    types = {row.pk: row for row in PartType.objects.filter(pk__in={line.part_type_id for line in lines})}
    seen: set[str] = set()
    for line in lines:
        if line.position in seen:
            raise Invalid(f"'{line.position}' stands there twice.", field="lines", remedy="Keep one of the two.")
        seen.add(line.position)
        part_type = types.get(line.part_type_id) if line.part_type_id else None
        if line.part_type_id and part_type is None:
            raise Invalid("There is no such part type.", field="part_type", remedy="Choose one from the catalogue.")
        kinds = POSITIONS[line.position].part_kinds if line.position in POSITIONS else ("",)
        check_position(line.position, part_type.kind if part_type else kinds[0])


def _write(row: BuildList, lines: Sequence[Line]) -> None:
    order = list(POSITIONS)
    BuildListLine.objects.bulk_create(
        BuildListLine(build_list=row, position=line.position, part_type_id=line.part_type_id, required=line.required)
        for line in sorted(lines, key=lambda line: order.index(line.position))
    )
