"""Where every piece sat, in memory while a file is examined: each row meets the state the rows before it left."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F

from tracker.actions.importing.plan import BULK, PIECE, rows_in
from tracker.actions.steps import chunks
from tracker.models import Component, Fitment

USABLE = {Component.State.IN_STOCK, Component.State.RETURNED}


@dataclass(eq=False)
class Stay:
    """One component in one place from when to when; `row` is the stored fitment, if it is stored already."""

    component: Component
    trike_key: str  # frame serial: trikes may not be stored yet
    position: str
    fitted_at: datetime
    removed_at: datetime | None = None
    fate: str = ""
    reason: str = ""
    row: Fitment | None = None
    ended_now: bool = False  # the end comes from this file

    def holds_at(self, moment: datetime) -> bool:
        """Whether the component was there at `moment` (half-open)."""
        return self.fitted_at <= moment and (self.removed_at is None or moment < self.removed_at)

    def ends_after(self, moment: datetime) -> bool:
        """Whether the stay reaches beyond `moment`."""
        return self.removed_at is None or self.removed_at > moment


class Fittings:
    """All stays of some trikes and components."""

    def __init__(self, stored: Iterable[Fitment]) -> None:
        self.of_trike: dict[str, list[Stay]] = defaultdict(list)
        self.of_component: dict[int, list[Stay]] = defaultdict(list)
        self.states: dict[int, str] = {}  # component -> state after this file
        seen: set[int] = set()
        for row in stored:
            if row.pk not in seen:
                seen.add(row.pk)
                self._keep(
                    Stay(
                        row.component, row.trike.frame_serial, row.position, row.fitted_at, row.removed_at, row.fate,
                        row.removal_reason, row,
                    )
                )  # fmt: skip

    @classmethod
    def of(cls, *, trike_ids: Iterable[int] = (), component_ids: Iterable[int] = ()) -> "Fittings":
        """Fetch the stays of these trikes and of these components."""
        stored = Fitment.objects.select_related("component__part_type", "trike").order_by("pk")
        rows = [*rows_in(stored, "trike_id", trike_ids), *rows_in(stored, "component_id", component_ids)]
        return cls(rows)

    def _keep(self, stay: Stay) -> None:
        self.of_trike[stay.trike_key].append(stay)
        self.of_component[stay.component.pk].append(stay)

    def on(self, trike_key: str, moment: datetime) -> list[Stay]:
        """Return what sat on the trike at `moment`, by position."""
        return sorted((s for s in self.of_trike[trike_key] if s.holds_at(moment)), key=lambda s: s.position)

    def at(self, trike_key: str, position: str, moment: datetime) -> Stay | None:
        """Return what sat in the position at `moment`."""
        return next((s for s in self.of_trike[trike_key] if s.position == position and s.holds_at(moment)), None)

    def later(self, trike_key: str, position: str, moment: datetime) -> Stay | None:
        """Return a stay in the position that begins after `moment`."""
        return next((s for s in self.of_trike[trike_key] if s.position == position and s.fitted_at > moment), None)

    def in_the_way(self, component: Component, moment: datetime) -> Stay | None:
        """Return the stay that keeps the component from being fitted at `moment` for good."""
        return next((s for s in self.of_component[component.pk] if s.ends_after(moment)), None)

    def state_of(self, component: Component) -> str:
        """Return the component's state as the file leaves it so far."""
        return self.states.get(component.pk, component.state)

    def put_in(self, component: Component, trike_key: str, position: str, moment: datetime) -> Stay:
        """Fit the component."""
        stay = Stay(component, trike_key, position, moment)
        self._keep(stay)
        self.states[component.pk] = Component.State.FITTED
        return stay

    def take_out(self, stay: Stay, moment: datetime, fate: str, reason: str) -> None:
        """End a stay."""
        stay.removed_at, stay.fate, stay.reason, stay.ended_now = moment, fate, reason, True
        self.states[stay.component.pk] = fate

    def write(self, trike_ids: dict[str, int]) -> None:
        """Store ended stays first, then new ones, then the state of every piece that moved."""
        stays = [stay for stays in self.of_trike.values() for stay in stays]
        ended = [stay for stay in stays if stay.row is not None and stay.ended_now]
        for stay in ended:
            stay.row.removed_at, stay.row.fate, stay.row.removal_reason = stay.removed_at, stay.fate, stay.reason
        Fitment.objects.bulk_update(
            [stay.row for stay in ended], ["removed_at", "fate", "removal_reason"], batch_size=BULK
        )
        Fitment.objects.bulk_create(
            (
                Fitment(
                    component=stay.component, trike_id=trike_ids[stay.trike_key], position=stay.position,
                    fitted_at=stay.fitted_at, removed_at=stay.removed_at, fate=stay.fate, removal_reason=stay.reason,
                )
                for stay in sorted((s for s in stays if s.row is None), key=lambda s: s.fitted_at)
            ),
            batch_size=BULK,
        )  # fmt: skip
        self._write_states()

    def _write_states(self) -> None:
        moved: dict[str, list[int]] = defaultdict(list)
        for pk, state in self.states.items():
            moved[state].append(pk)
        for state, keys in sorted(moved.items()):
            for piece in chunks(keys, PIECE):
                Component.objects.filter(pk__in=piece).update(state=state, version=F("version") + 1)


def words_for(component: Component) -> str:
    """Return a component as rows and messages name it."""
    return component.serial or f"batch {component.batch}"
