"""Rules of the walk: job cards from the door to the signature, intervals, nights."""

from datetime import timedelta

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from services.kinds import all_tasks
from tests.actions.machine_base import FATES, Machine, pick, ridden, some
from tests.actions.random_workshop import FITTED
from tests.releasing import passed
from tracker.actions import bench, job_cards, release, reminders, schedule, signing, swaps
from tracker.models import Component, Fitment, JobCard, ServiceInterval, Swap, Trike
from tracker.queries.usage import segment_around

MEASURED = [
    ("chain_elongation_pct", (0.1, 0.6, 0.8)), ("battery_capacity_wh", (500, 380, 200)), ("shock_sag_pct", (5, 25, 60)),
    ("toe_in_mm", (0, 1.5, 6)), ("battery_damage_signs", (0, 1)), ("storage_charge_pct", (50, 5)),
]  # fmt: skip


class DeskRules(Machine):
    """What happens at the desk, on the bench and at night."""

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
