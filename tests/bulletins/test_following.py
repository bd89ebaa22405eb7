"""A component that is registered, imported, changed, moved or scrapped comes under a bulletin, or leaves it, at once."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from services.bulletins import order_key
from tests.bulletins.conftest import LATER, NOW, danger, on_a_trike, released, says
from tests.factories import ComponentFactory, OwnershipFactory, PartTypeFactory, TrikeFactory
from tests.imports.register import bring
from tracker.actions.bulletins import match_again, match_all
from tracker.actions.components import add_component, change_component
from tracker.actions.fitments import fit_component, remove_component
from tracker.models import BulletinNotice, BulletinPart, BulletinStep, Component, DueLine
from tracker.queries.due import rebuild_differences

pytestmark = pytest.mark.django_db(transaction=True)

IMPORTED = (("I-1", "K-17"), ("I-2", "L-02"))


def under():
    return dict(BulletinPart.objects.values_list("component__serial", "state"))


def test_a_registered_component_in_scope_joins_at_once(shock, writer, second):
    released(says(shock), writer, second)
    add_component(part_type_id=shock.pk, serial="a1", batch="k-17", by=writer, now=LATER)
    add_component(part_type_id=shock.pk, serial="a2", batch="L-2", by=writer, now=LATER)
    assert under() == {"A1": "affected"}


def test_a_changed_batch_brings_it_in_or_lets_it_go(shock, writer, second):
    part = on_a_trike(shock, "S1", batch="L-02")
    released(danger(shock), writer, second)
    assert under() == {}
    change_component(component_id=part.pk, version=1, changes={"batch": "K 17"}, by=writer, now=LATER)
    assert under() == {}  # K17 is not K-17
    change_component(component_id=part.pk, version=2, changes={"batch": "k-17"}, by=writer, now=LATER)
    assert under() == {"S1": "affected"}
    assert BulletinNotice.objects.count() == 1
    assert DueLine.objects.filter(component=part, task__startswith="bulletin").exists()
    change_component(component_id=part.pk, version=3, changes={"batch": "L-02"}, by=writer, now=LATER)
    assert under() == {}
    assert not DueLine.objects.filter(component=part, task__startswith="bulletin").exists()
    assert list(BulletinStep.objects.values_list("before", "after").order_by("pk")) == [
        ("", "affected"),
        ("affected", ""),
    ]
    assert rebuild_differences() == []


def test_what_becomes_known_makes_a_part_surer(shock, writer, second):
    part = on_a_trike(shock, "S1", batch="")
    released(says(shock), writer, second)
    assert BulletinPart.objects.get().certainty == "cannot_exclude"
    change_component(component_id=part.pk, version=1, changes={"batch": "K-17"}, by=writer, now=LATER)
    assert BulletinPart.objects.get().certainty == "affected"


def test_a_part_from_stock_brings_its_bulletin_to_its_trike_and_the_owner_hears(shock, writer, second):
    part = ComponentFactory(part_type=shock, serial="S1", batch="K-17")
    released(danger(shock, severity="mandatory"), writer, second)
    assert not BulletinNotice.objects.exists()
    trike = OwnershipFactory(trike=TrikeFactory()).trike
    fitment = fit_component(
        trike_id=trike.pk, position="rear-shock", component_id=part.pk, at=NOW, by=writer, now=LATER
    )
    line = DueLine.objects.get(component=part, task__startswith="bulletin")
    assert (line.trike, line.safety) == (trike, True)
    assert BulletinNotice.objects.get().trike == trike
    remove_component(fitment_id=fitment.pk, at=LATER, fate="scrapped", by=writer, now=LATER + timedelta(hours=1))
    assert under() == {"S1": "scrapped"}
    assert not DueLine.objects.filter(component=part).exists()


def test_the_night_finds_what_was_written_past_the_actions(shock, writer, second):
    row = released(danger(shock), writer, second)
    on_a_trike(shock, "S1", batch="K-17")
    assert match_all(now=LATER) == 1
    assert under() == {"S1": "affected"}
    assert match_again(bulletin_id=row.pk, now=LATER + timedelta(days=1)) == 0
    assert BulletinStep.objects.count() == BulletinNotice.objects.count() == 1


def test_parts_of_an_imported_file_join_with_it(shock, writer, second):
    released(says(shock), writer, second)
    rows = ({"Serial": serial, "Part number": shock.part_number, "Batch": batch} for serial, batch in IMPORTED)
    assert not bring("parts", *rows).is_refused
    assert under() == {"I-1": "affected"}


def test_a_bulletin_costs_a_new_component_of_another_type_nothing(shock, writer, second):
    other = PartTypeFactory(kind="chain")

    def queries(serial):
        with CaptureQueriesContext(connection) as asked:
            add_component(part_type_id=other.pk, serial=serial, now=LATER)
        return len(asked)

    before = queries("C-1")
    for _ in range(3):
        released(says(shock), writer, second)
    assert queries("C-2") == before


def test_keys_stand_beside_what_they_are_made_of(shock):
    row = ComponentFactory(part_type=shock, serial="A9-010", batch=" k-17", firmware="Tern 2.10")
    assert (row.serial_key, row.batch_key, row.firmware_key) == (order_key("A9-010"), "K-17", "TERN2.10")
    Component.objects.bulk_create([Component(part_type=shock, serial=None, batch="x")])
    assert Component.objects.get(serial=None).serial_key is None
    for known in Component.objects.exclude(serial=None):
        assert known.serial_key == order_key(known.serial)


def test_the_database_sorts_serials_as_people_count(shock):
    for serial in ("A10", "A9", "A-9", "B1", "A9B", "A010X", "9", "10", "Ä1"):
        ComponentFactory(part_type=shock, serial=serial)
    told = list(Component.objects.order_by("serial_key").values_list("serial", flat=True))
    assert told == ["9", "10", "A9", "A9B", "A10", "A010X", "A-9", "B1", "Ä1"]
