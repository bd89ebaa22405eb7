"""Any order of any actions: rules that call them as the doors do. What must hold after every one: what_holds.py."""

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from services.errors import Refusal
from services.kinds import all_tasks
from services.positions import POSITIONS
from tests.actions import what_holds
from tests.actions.random_workshop import BEGUN, FITTED, Workshop
from tests.releasing import passed
from tracker.actions import (
    bench,
    bulk_readings,
    components,
    fitments,
    handovers,
    job_cards,
    owners,
    release,
    reminders,
    schedule,
    signing,
    swaps,
    trikes,
    usage,
)  # fmt: skip
from tracker.models import (
    Component,
    Fitment,
    Handover,
    JobCard,
    OdometerReading,
    Owner,
    ServiceInterval,
    Swap,
    Trike,
)  # fmt: skip
from tracker.queries.usage import segment_around

FATES = [state for state in Component.State.values if state != Component.State.FITTED]
TRIKE_CHANGES = [{"severity": 0.5}, {"severity": 1}, {"state": "retired"}, {"state": "delivered"}]
OWNER_CHANGES = [{"distance_unit": "mi"}, {"reminders_agreed": False}, {"name": "Ada"}]
MEASURED = [
    ("chain_elongation_pct", (0.1, 0.6, 0.8)), ("battery_capacity_wh", (500, 380, 200)), ("shock_sag_pct", (5, 25, 60)),
    ("toe_in_mm", (0, 1.5, 6)), ("battery_damage_signs", (0, 1)), ("storage_charge_pct", (50, 5)),
]  # fmt: skip

some = st.integers(0, 9_999)  # which row, counted round
back = st.sampled_from([0, 0, 0, 5, 60, 1_440, 20_000, 100_000])  # how many minutes ago
ridden = st.floats(0, 60).map(lambda km: round(km, 1))
shown = st.one_of(st.floats(0, 12_000).map(lambda km: round(km, 2)), st.integers(0, 12_000))


def pick(rows: Any, number: int) -> Any:
    """Return one of the rows, counted round, or None where there is none."""
    rows = list(rows if isinstance(rows, Sequence) else rows.order_by("pk"))
    return rows[number % len(rows)] if rows else None


class WorkshopMachine(RuleBasedStateMachine):
    """Any order of any actions. A refusal is an answer; every other error is a fault."""

    def __init__(self, workshop: Workshop, tally: Counter[str]) -> None:
        super().__init__()
        self.workshop, self.tally = workshop, tally
        self.by = workshop.people[0]
        self.now = BEGUN + timedelta(days=1)
        self.has_open_card = False
        self.savepoint = transaction.savepoint()

    def teardown(self) -> None:
        transaction.savepoint_rollback(self.savepoint)

    def act(self, function: Callable[..., Any], **values: Any) -> Any:
        self.now += timedelta(minutes=3)
        name = function.__name__
        try:
            answer = function(now=self.now, **values)
        except Refusal:
            self.tally[f"{name} refused"] += 1
            return None
        self.tally[name] += 1
        self.has_open_card = JobCard.objects.filter(state="draft").exists()
        return answer

    def ago(self, minutes: int) -> datetime:
        return self.now - timedelta(minutes=minutes)

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

    # Job cards

    @precondition(lambda self: not self.has_open_card)
    @rule(number=some)
    def open_card(self, number: int) -> None:
        self.act(job_cards.open_card, trike_id=pick(Trike.objects, number).pk, by=self.by)

    on_a_card = precondition(lambda self: self.has_open_card)

    def card(self, number: int) -> JobCard | None:
        return pick(JobCard.objects.filter(state="draft"), number)

    @on_a_card
    @rule(number=some, days=st.integers(0, 30), per_day=ridden)
    def odometer_in(self, number: int, days: int, per_day: float) -> None:
        if card := self.card(number):
            self.now += timedelta(days=days)
            before = segment_around(card.trike_id, self.now).km or [12.0]
            self.act(job_cards.take_odometer, card_id=card.pk, value=round(before[-1] + days * per_day, 1), by=self.by)

    @on_a_card
    @rule(
        number=some, tasks=st.lists(some, min_size=1, max_size=5), outcome=st.sampled_from(["done", "done", "deferred"])
    )
    def tick(self, number: int, tasks: list[int], outcome: str) -> None:
        card = self.card(number)
        for task in tasks if card else []:
            held = pick(Fitment.objects.current().filter(trike_id=card.trike_id), task)
            if held is not None:
                kind = held.component.part_type.kind
                code = pick([each.code for each in all_tasks() if each.on == kind], task)
                self.act(bench.set_task, card_id=card.pk, component_id=held.component_id, task=code, outcome=outcome)

    @on_a_card
    @rule(number=some, quantity=some, value=some)
    def measure(self, number: int, quantity: int, value: int) -> None:
        card = self.card(number)
        code, values = pick(MEASURED, quantity)
        kind = next(task.on for task in all_tasks() if code in task.asks)
        held = card and Fitment.objects.current().filter(trike=card.trike_id, component__part_type__kind=kind).first()
        if held:
            self.act(
                bench.record_measurement, card_id=card.pk, component_id=held.component_id, quantity_code=code,
                value=pick(values, value), by=self.by,
            )  # fmt: skip

    @on_a_card
    @rule(number=some, place=some, part=some, fate=st.sampled_from(FATES))
    def plan_swap(self, number: int, place: int, part: int, fate: str) -> None:
        position = pick(list(FITTED), place)
        new = pick(Component.objects.filter(part_type__kind=FITTED[position]).exclude(state="fitted"), part)
        if card := self.card(number):
            self.act(
                swaps.plan_swap, card_id=card.pk, position=position, new_serial=new.serial if new else "", fate=fate
            )

    @on_a_card
    @rule(number=some, part=some)
    def fail(self, number: int, part: int) -> None:
        card = self.card(number)
        held = card and pick(Fitment.objects.current().filter(trike=card.trike_id), part)
        if held:
            self.act(bench.record_failure, card_id=card.pk, component_id=held.component_id, mode="wear")

    @on_a_card
    @rule(number=some)
    def drop_swap(self, number: int) -> None:
        if swap := pick(Swap.objects.filter(card__state="draft"), number):
            self.act(swaps.drop_swap, card_id=swap.card_id, position=swap.position)

    @rule(number=some, tasks=st.lists(some, min_size=1, max_size=5), value=some)
    def whole_job(self, number: int, tasks: list[int], value: int) -> None:
        """A visit from the door to the signature: single steps alone seldom get that far."""
        if not self.has_open_card:
            self.open_card(number)
        self.odometer_in(number, 1, 10.0)
        self.tick(number, tasks, "done")
        self.measure(number, value, value)
        self.plan_swap(number, value, value, "in_stock")
        self.release(number)
        self.sign(number)

    @on_a_card
    @rule(number=some)
    def release(self, number: int) -> None:
        if card := self.card(number):
            self.act(release.sign_release, card_id=card.pk, version=None, answers=passed(card), by=self.by)

    @on_a_card
    @rule(number=some)
    def sign(self, number: int) -> None:
        if card := self.card(number):
            self.act(signing.sign_card, card_id=card.pk, version=card.version, by=self.by)

    @on_a_card
    @rule(number=some)
    def cancel(self, number: int) -> None:
        if card := self.card(number):
            self.act(job_cards.cancel_card, card_id=card.pk, version=None)

    @rule(number=some)
    def amend(self, number: int) -> None:
        if card := pick(JobCard.objects.filter(state="signed"), number):
            self.act(job_cards.amend_card, card_id=card.pk, text="The minutes were forty.", by=self.by)

    # Rules and nights

    @rule(number=some, km=st.integers(10, 4_000), months=st.integers(1, 24), own_type=st.booleans())
    def set_interval(self, number: int, km: int, months: int, own_type: bool) -> None:
        row = pick(ServiceInterval.objects, number)
        values = {"every_km": km, "every_months": months}
        part_type = self.workshop.types.get(row.part_kind)
        if own_type and row.part_type_id is None and part_type is not None:
            known = ServiceInterval.objects.filter(task=row.task, part_type=part_type).first()
            values |= {"task": row.task, "part_kind": row.part_kind, "part_type": part_type}
            self.act(schedule.set_interval, values=values, interval_id=known and known.pk, by=self.by)
        else:
            self.act(schedule.set_interval, values=values, interval_id=row.pk, by=self.by)

    @rule(number=some, task=some)
    def interval_of_another_task(self, number: int, task: int) -> None:
        row = pick(ServiceInterval.objects.filter(part_type=None), number)
        known = set(ServiceInterval.objects.filter(part_type=None).values_list("task", flat=True))
        other = pick([each for each in all_tasks() if each.on in FITTED.values() and each.code not in known], task)
        if other is not None:
            values = {"task": other.code, "part_kind": other.on}
            self.act(schedule.set_interval, values=values, interval_id=row.pk, by=self.by)

    @rule(everything=st.booleans())
    def sweep(self, everything: bool) -> None:
        run = self.act(reminders.run_sweep, everything=everything)
        assert run.differences == 0
        assert not Trike.objects.filter(due_dirty=True).exclude(state="retired").exists()

    @invariant()
    def the_record_is_right(self) -> None:
        what_holds.check_all(self.now)
