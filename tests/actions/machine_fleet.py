"""Rules of the walk: riding and readings, parts, trikes and their owners."""

from datetime import datetime, timedelta
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import rule

from services.positions import POSITIONS
from tests.actions.machine_base import FATES, Machine, back, pick, ridden, shown, some
from tracker.actions import bulk_readings, components, fitments, handovers, owners, schedule, trikes, usage
from tracker.models import Component, Fitment, Handover, OdometerReading, Owner, Trike
from tracker.queries.usage import segment_around

TRIKE_CHANGES = [{"severity": 0.5}, {"severity": 1}, {"model": "Fenrunner 2"}]
OWNER_CHANGES = [{"distance_unit": "mi"}, {"reminders_agreed": False}, {"name": "Ada"}]


class FleetRules(Machine):
    """What happens to trikes and parts outside of job cards."""

    # Riding and readings

    @rule(number=some, days=st.integers(1, 60), per_day=ridden)
    def ride(self, number: int, days: int, per_day: float) -> None:
        self.now += timedelta(days=days)
        trike = pick(Trike.objects, number)
        before = segment_around(trike.pk, self.now).km or [12.0]
        value = round(before[-1] + days * per_day, 1)
        self.act(usage.record_reading, trike_id=trike.pk, value=value, read_at=self.now)

    @rule(number=some, value=shown, unit=st.sampled_from(["km", "mi"]), minutes=back, strict=st.booleans())
    def read(self, number: int, value: float, unit: str, minutes: int, strict: bool) -> None:
        self.act(
            usage.record_reading, trike_id=pick(Trike.objects, number).pk, value=value, unit=unit,
            read_at=self.ago(minutes), strict=strict,
        )  # fmt: skip

    @rule(numbers=st.lists(st.tuples(some, shown, back), min_size=1, max_size=4))
    def read_many(self, numbers: list[tuple[int, float, int]]) -> None:
        rows = [
            {"trike": pick(Trike.objects, n).pk, "value": km, "unit": "km", "read_at": self.ago(m), "note": ""}
            for n, km, m in numbers
        ]
        self.act(bulk_readings.record_readings, rows=rows, source="api", by=None)

    @rule(number=some, choice=some)
    def decide(self, number: int, choice: int) -> None:
        """About a reading in doubt; without one, one that is lower than the last comes in first."""
        reading = pick(OdometerReading.objects.filter(verdict="suspect"), number)
        if reading is None:
            last = pick(OdometerReading.objects.filter(verdict="accepted", value__gt=200), number)
            if last is not None:
                self.act(
                    usage.record_reading,
                    trike_id=last.trike_id,
                    value=last.value / 2,
                    unit=last.unit,
                    read_at=self.ago(0),
                )
            reading = pick(OdometerReading.objects.filter(verdict="suspect"), number)
        if reading is not None:
            choices = ["accept", "reject", *[proposal["code"] for proposal in reading.proposals]]
            self.act(usage.decide_reading, reading_id=reading.pk, choice=pick(choices, choice), by=self.by)

    @rule(number=some, minutes=back, old=st.none() | shown, new=st.sampled_from([0.0, 0.0, 35.5]))
    def change_display(self, number: int, minutes: int, old: float | None, new: float) -> None:
        self.act(
            usage.record_display_change, trike_id=pick(Trike.objects, number).pk, changed_at=self.ago(minutes),
            old_final_km=old, new_start_km=new,
        )  # fmt: skip

    @rule(number=some, meter=st.sampled_from(["motor_hours", "charge_cycles"]), value=st.integers(0, 900), minutes=back)
    def read_meter(self, number: int, meter: str, value: int, minutes: int) -> None:
        part = pick(Component.objects.filter(part_type__kind__in=["battery", "motor"]), number)
        self.act(usage.record_meter, component_id=part.pk, meter=meter, value=value, read_at=self.ago(minutes))

    # Parts

    @rule(number=some, place=some, trike=some, minutes=back)
    def fit(self, number: int, place: int, trike: int, minutes: int) -> None:
        part = pick(Component.objects.exclude(state="fitted"), number) or pick(Component.objects, number)
        self.fit_on(pick(Trike.objects, trike), part, place, self.ago(minutes))

    def fit_on(self, trike: Trike, part: Component, place: int, at: datetime) -> None:
        takes = [code for code, position in POSITIONS.items() if part.part_type.kind in position.part_kinds]
        self.act(fitments.fit_component, trike_id=trike.pk, position=pick(takes, place), component_id=part.pk, at=at)

    @rule(number=some, minutes=back, fate=st.sampled_from([*FATES, "in_stock", "in_stock"]))
    def remove(self, number: int, minutes: int, fate: str) -> None:
        fitment = pick(Fitment.objects.current(), number)
        self.act(fitments.remove_component, fitment_id=fitment.pk, at=self.ago(minutes), fate=fate)

    @rule(number=some, trike=some, minutes=back)
    def move(self, number: int, trike: int, minutes: int) -> None:
        """Take a part off and fit it to another trike in the same moment; what sat there goes to stock."""
        at, there = self.ago(minutes), pick(Trike.objects, trike)
        fitment = pick(Fitment.objects.current().exclude(position="frame"), number)
        if fitment is None:
            return
        for held in [fitment, *Fitment.objects.current().filter(trike=there, position=fitment.position)]:
            self.act(fitments.remove_component, fitment_id=held.pk, at=at)
        self.act(
            fitments.fit_component, trike_id=there.pk, position=fitment.position, component_id=fitment.component_id,
            at=at,
        )  # fmt: skip

    @rule(number=some, state=st.sampled_from(Component.State.values))
    def change_component(self, number: int, state: str) -> None:
        part = pick(Component.objects, number)
        self.act(
            components.change_component, component_id=part.pk, version=part.version, changes={"state": state},
            by=self.by,
        )  # fmt: skip

    # Trikes and owners

    @rule(number=some)
    def build(self, number: int) -> None:
        frame = pick(Component.objects.filter(part_type__kind="frame").exclude(state="fitted"), number)
        if frame is not None:
            self.act(trikes.register_trike, frame_component_id=frame.pk)

    @rule(number=some, days=st.integers(0, 90), reading=st.sampled_from([0.0, 12.0, 340.5]))
    def hand_over(self, number: int, days: int, reading: float) -> None:
        trike = pick(Trike.objects.filter(state="in_build"), number)
        if trike is None:
            return
        self.act(
            handovers.hand_over, trike_id=trike.pk, owner_id=pick(Owner.objects, number).pk,
            handed_over_on=(self.now - timedelta(days=days)).date(), reading_km=reading,
            checks=[("brakes hold", True, "")], built_by=self.by,
        )  # fmt: skip
        handover = Handover.objects.filter(trike=trike, second_signed_at=None).first()
        if handover is not None:
            self.act(handovers.sign_handover, handover_id=handover.pk, by=self.workshop.people[1])

    @rule(number=some, changes=st.sampled_from(TRIKE_CHANGES))
    def change_trike(self, number: int, changes: dict[str, Any]) -> None:
        trike = pick(Trike.objects, number)
        self.act(trikes.change_trike, trike_id=trike.pk, version=None, changes=changes, by=self.by)

    @rule(number=some, changes=st.sampled_from(OWNER_CHANGES))
    def change_owner(self, number: int, changes: dict[str, Any]) -> None:
        owner = pick(Owner.objects, number)
        self.act(owners.change_owner, owner_id=owner.pk, version=owner.version, changes=changes, by=self.by)

    @rule(number=some, kind=st.sampled_from(["crash", "submersion", "lay_up"]), minutes=back)
    def report(self, number: int, kind: str, minutes: int) -> None:
        self.act(
            schedule.report_occurrence, trike_id=pick(Trike.objects, number).pk, kind=kind,
            happened_at=self.ago(minutes),
        )  # fmt: skip
