"""Any order of any actions: rules (machine_*.py) that call them as the doors do. What must hold after each: what_holds.py."""

from hypothesis.stateful import invariant

from tests.actions import what_holds
from tests.actions.machine_desk import DeskRules
from tests.actions.machine_fleet import FleetRules
from tests.actions.machine_passing import PassingRules


class WorkshopMachine(FleetRules, DeskRules, PassingRules):
    """The whole workshop."""

    @invariant()
    def the_record_is_right(self) -> None:
        what_holds.check_all(self.now)
