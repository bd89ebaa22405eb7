"""Where a random walk through the actions begins."""

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests import factories as make
from tracker.actions import fitments, handovers, schedule, trikes
from tracker.models import Trike

BEGUN = datetime(2025, 5, 1, 9, 0, tzinfo=UTC)
INTERVALS = Path(__file__).parents[2] / "fixtures" / "intervals.csv"
FITTED = {
    "chain": "chain", "rear-hub": "hub_geared", "battery": "battery", "boom-motor": "motor", "rear-shock": "air_shock",
}  # fmt: skip
# A trike's frame has some twenty tasks that all count alike: these stand for them, each with another rule.
OF_THE_FRAME = {"first_inspection", "general_service", "major_service", "lights_check", "tyres_check", "toe_in_check"}


class Workshop:
    """What stands before the first step: two trikes handed over and one in build, with parts; more parts in stock."""

    def __init__(self) -> None:
        self.people = [make.UserFactory(), make.UserFactory()]
        with INTERVALS.open() as file:
            rows = [
                row
                for row in csv.DictReader(file)
                if row["part_kind"] in FITTED.values() or row["task"] in OF_THE_FRAME
            ]
        schedule.load_default_intervals(rows=rows, now=BEGUN)
        self.types = {kind: make.PartTypeFactory(kind=kind) for kind in ["frame", *FITTED.values()]}
        for number in range(3):
            frame = make.ComponentFactory(part_type=self.types["frame"])
            trike = trikes.register_trike(frame_component_id=frame.pk, by=self.people[0], now=BEGUN)
            for position, kind in FITTED.items():
                part = make.ComponentFactory(part_type=self.types[kind])
                fitments.fit_component(trike_id=trike.pk, position=position, component_id=part.pk, at=BEGUN, now=BEGUN)
            if number < 2:
                self.deliver(trike)
        for kind in ("frame", *FITTED.values()):
            make.ComponentFactory.create_batch(2, part_type=self.types[kind])

    def deliver(self, trike: Trike) -> None:
        handover = handovers.hand_over(
            trike_id=trike.pk, owner_id=make.OwnerFactory().pk, handed_over_on=BEGUN.date(), reading_km=12.0,
            checks=[("brakes hold", True, "")], built_by=self.people[0], now=BEGUN + timedelta(hours=6),
        )  # fmt: skip
        handovers.sign_handover(handover_id=handover.pk, by=self.people[1], now=BEGUN + timedelta(hours=6))
