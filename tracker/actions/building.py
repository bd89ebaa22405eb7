"""Building a trike down its model's list: fit what is scanned, ask about what the list does not have."""

from datetime import date, datetime

from tracker.actions.components import take_into_stock
from tracker.actions.fitments import component_to_fit, fit
from tracker.actions.refusals import Conflict, WrongState
from tracker.actions.steps import lock_version, refresh_due, serial_words
from tracker.actions.transactions import action
from tracker.models import Component, Fitment, PartType, Trike, User
from tracker.queries.build_lists import list_of_model


class OtherPartType(Conflict):
    """The build list has another part type for this position: is this one meant?

    Nothing was fitted. If it is meant, send it again with `all_the_same` true.
    """

    code = "other-part-type"


class AlreadyHandedOver(WrongState):
    """The builder's signature says with which parts a trike was built."""

    code = "already-handed-over"


@action
def fit_from_list(
    *, trike_id: int, position: str, component_id: int, all_the_same: bool = False, by: User | None = None,
    now: datetime, source: str = "desk",
) -> Fitment:  # fmt: skip
    """Fit a scanned part to a trike in build. Raises OtherPartType until `all_the_same`, and as fit_component does."""
    trike = _in_build(trike_id)
    component = component_to_fit(component_id)
    if not all_the_same:
        _ask_about(trike, position, component.part_type, serial_words(component))
    return _fit(trike, position, component, by, now, source)


@action
def stock_and_fit(
    *, trike_id: int, position: str, part_type_id: int, serial: str, batch: str = "", made_on: date | None = None,
    by: User | None = None, now: datetime, source: str = "desk",
) -> Fitment:  # fmt: skip
    """Take an unknown part into stock and fit it in one step: both or neither. Its type was chosen by hand."""
    trike = _in_build(trike_id)
    made = take_into_stock(part_type_id=part_type_id, serial=serial, batch=batch, made_on=made_on, now=now, by=by)
    return _fit(trike, position, component_to_fit(made.pk), by, now, source)


def _in_build(trike_id: int) -> Trike:
    trike = lock_version(Trike, trike_id, None)
    if trike.state != Trike.State.IN_BUILD or hasattr(trike, "handover"):
        raise AlreadyHandedOver(
            f"Trike {trike} was handed over already.", field="trike", remedy="Later work goes on a job card."
        )
    return trike


def _ask_about(trike: Trike, position: str, part_type: PartType, words: str) -> None:
    found = list_of_model(trike.model)
    line = next((line for line in found.lines.all() if line.position == position), None) if found else None
    usual = line.part_type if line else None
    if usual is None or usual.pk == part_type.pk or usual.kind != part_type.kind:
        return  # another kind of part is refused by the position itself
    raise OtherPartType(
        f"The list has {usual.name} ({usual.part_number}), {words} is {part_type.name} ({part_type.part_number}).",
        field="serial", remedy="Fit it all the same?", on_list=usual.part_number, scanned=part_type.part_number,
    )  # fmt: skip


def _fit(trike: Trike, position: str, component: Component, by: User | None, now: datetime, source: str) -> Fitment:
    fitment = fit(trike, position, component, now, by, source, now)
    refresh_due([trike.pk], now)
    return fitment
