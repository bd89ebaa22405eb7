"""What was released, and every step under it, attacked past the actions; and what the tables themselves refuse."""

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction

from tests.actions.test_guards_attacked import ATTACKS, copy_a_draft_over, update_query, whole_table
from tests.bulletins.conftest import NOW, draft, released, says
from tests.factories import ComponentFactory
from tracker.models import Bulletin, BulletinRange, BulletinStep, guards, guards_bulletins

pytestmark = pytest.mark.django_db
KEPT = {Bulletin: ("title", "forged"), BulletinRange: ("last", "Z9"), BulletinStep: ("note", "forged")}
WORDS = (guards_bulletins.RELEASED, guards_bulletins.STEP_KEPT, guards.EMPTIED, "protected foreign keys")
RANGE = {"serials": [("S1", "S9")]}


@pytest.fixture
def record(shock, writer, second):
    """A released bulletin with a range and the step of a part; a draft with a range; the step of another part."""
    ComponentFactory(part_type=shock, serial="S1", batch="K-17")
    ComponentFactory(part_type=shock, serial="S2", batch="K-17")
    kept, free = released(says(shock, **RANGE), writer, second), draft(says(shock, **RANGE), writer)
    connection.check_constraints()
    steps = list(BulletinStep.objects.order_by("pk"))
    return {
        Bulletin: (kept, free), BulletinRange: (kept.ranges.get(), free.ranges.get()), BulletinStep: (steps[0], steps[1]),
    }  # fmt: skip


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.__name__)
def test_what_was_released_is_refused_in_words_and_stays(attack, model, record):
    if attack is copy_a_draft_over and connection.vendor == "postgresql" and model is Bulletin:
        return  # there the attack writes what stands there already, which is no change
    before = {each: whole_table(each) for each in KEPT}
    with pytest.raises(DatabaseError) as refusal, transaction.atomic():
        attack(model, *record[model], *KEPT[model])
    assert {each: whole_table(each) for each in KEPT} == before
    told = str(refusal.value)
    assert any(words in told for words in WORDS), told


@pytest.mark.parametrize("model", [Bulletin, BulletinRange])
def test_a_draft_can_be_changed(model, record):
    """Or the attacks above would prove nothing."""
    field, value = KEPT[model]
    update_query(model, record[model][1], None, field, value)
    assert getattr(model.objects.get(pk=record[model][1].pk), field) == value


def test_a_released_bulletin_gets_no_other_part_type_and_no_range(record, shock):
    kept = record[Bulletin][0]
    attacks = (
        lambda: kept.part_types.add(ComponentFactory().part_type),
        lambda: kept.part_types.remove(shock),
        lambda: BulletinRange.objects.create(bulletin=kept, first="A1", last="A2", first_key="a", last_key="b"),
        lambda: BulletinRange.objects.filter(bulletin=record[Bulletin][1]).update(bulletin=kept, first="B"),
    )
    for attack in attacks:
        with pytest.raises(DatabaseError, match="released bulletin"), transaction.atomic():
            attack()


def test_a_release_is_not_taken_back_but_a_bulletin_may_end(record):
    kept = record[Bulletin][0]
    for values in ({"state": "draft"}, {"released_by": None}, {"released_at": NOW.replace(year=2020)}):
        with pytest.raises(DatabaseError), transaction.atomic():
            Bulletin.objects.filter(pk=kept.pk).update(**values)
    assert Bulletin.objects.filter(pk=kept.pk).update(state="closed") == 1


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"severity": "stop", "is_hazard": False}, "who_must_stop_riding_is_in_danger"),
        ({"made_from": "2026-02-01", "made_until": "2026-01-01"}, "making_days_run_forwards"),
        ({"deadline_km": 0}, "bulletin_distances_are_positive"),
        ({"state": "released"}, "a_released_bulletin_says_by_whom"),
    ],
)
def test_the_table_refuses_what_cannot_be(record, values, code):
    free = record[Bulletin][1]
    with pytest.raises(IntegrityError, match=code), transaction.atomic():
        Bulletin.objects.filter(pk=free.pk).update(**values)


def test_form_and_table_both_refuse_a_release_by_who_wrote_it(record):
    free = record[Bulletin][1]
    free.released_by = free.written_by
    with pytest.raises(ValidationError) as refusal:
        free.full_clean()
    assert "same-signer" in {error.code for error in refusal.value.error_dict["__all__"]}
    with pytest.raises(IntegrityError), transaction.atomic():
        Bulletin.objects.filter(pk=free.pk).update(released_by=free.written_by)
