"""Rules of the walk: trikes change hands, are stolen and found, are retired and come back."""

from datetime import timedelta

from hypothesis import strategies as st
from hypothesis.stateful import rule

from tests import factories as make
from tests.actions.machine_base import Machine, back, pick, some
from tracker.actions import owner_links, passing, retirement, theft, trikes
from tracker.models import Component, Fitment, Owner, Ownership, Trike
from tracker.queries.usage import segment_around

PART_FATES = ["in_stock", "in_stock", "scrapped", "quarantined", "returned"]


class PassingRules(Machine):
    """What ends or begins with an owner, and what ends with a trike."""

    @rule(
        number=some, owner=some, days=st.sampled_from([0, 0, 0, 2, 40]), agreed=st.booleans(),
        ridden_on=st.none() | st.integers(0, 900),
    )  # fmt: skip
    def pass_on(self, number: int, owner: int, days: int, agreed: bool, ridden_on: int | None) -> None:
        """To somebody on record or to a new face, today or some days ago, with a reading or without.

        Whoever has it now has a link to its page.
        """
        trike = pick(Trike.objects.filter(state="delivered"), number) or pick(Trike.objects, number)
        for owned in Ownership.objects.filter(trike=trike, until__isnull=True):
            self.act(owner_links.make_link, trike_id=trike.pk, owner_id=owned.owner_id)
        buyer = pick(Owner.objects, owner) if owner % 2 else make.OwnerFactory(reminders_agreed=False)
        shown = segment_around(trike.pk, self.now).km or [12.0]
        self.act(
            passing.pass_on, trike_id=trike.pk, owner_id=buyer.pk, since=(self.now - timedelta(days=days)).date(),
            reading=None if ridden_on is None else shown[-1] + ridden_on, agreed=agreed, agreed_source="by telephone",
            by=self.by,
        )  # fmt: skip

    @rule(number=some, days=st.sampled_from([0, 0, 1, 30]))
    def steal_or_find(self, number: int, days: int) -> None:
        """A stolen trike is found, for a walk whose trikes are all gone sees nothing; else one is stolen."""
        on = (self.now - timedelta(days=days)).date()
        gone = pick(Trike.objects.filter(stolen_on__isnull=False), number)
        if gone is not None:
            self.act(theft.found_again, trike_id=gone.pk, on=max(on, gone.stolen_on), by=self.by)
        else:
            self.act(theft.report_stolen, trike_id=pick(Trike.objects, number).pk, on=on, by=self.by)

    @rule(number=some, minutes=back, fates=st.lists(st.sampled_from(PART_FATES), min_size=6, max_size=6))
    def retire(self, number: int, minutes: int, fates: list[str]) -> None:
        """Or, where few are left, register the kept frame of a retired one again."""
        if Trike.objects.exclude(state="retired").count() <= 2:
            self.open_again(number)
            return
        trike = pick(Trike.objects, number)
        fitted = Fitment.objects.current().filter(trike=trike).order_by("pk")
        told = {
            held.component_id: ("in_stock" if number % 2 else "scrapped")
            if held.position == "frame"
            else fates[place % 6]
            for place, held in enumerate(fitted)
        }
        self.act(
            retirement.retire_trike, trike_id=trike.pk, reason="taken apart", fates=told, at=self.ago(minutes),
            by=self.by,
        )  # fmt: skip

    def open_again(self, number: int) -> None:
        serials = Trike.objects.filter(state="retired").values("frame_serial")
        frame = pick(Component.objects.filter(serial__in=serials, state="in_stock"), number)
        if frame is not None:
            self.act(trikes.register_trike, frame_component_id=frame.pk)
