"""What is signed or logged, attacked through the ORM, raw SQL and the admin, on whichever database the tests run."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from django.contrib import admin
from django.db import DatabaseError, connection, transaction
from django.db.models import Model, Q
from django.test import Client

from tests import factories as make
from tests.factories import NOW
from tracker import models
from tracker.models import guards

pytestmark = pytest.mark.django_db
ON_SQLITE = connection.vendor == "sqlite"

# model -> the field an attacker changes, and to what
KEPT: dict[type[Model], tuple[str, Any]] = {
    models.LogEntry: ("kind", "forged"), models.Completion: ("task", "forged"), models.JobCard: ("correction", "forged"),
    models.JobTask: ("note", "forged"), models.Measurement: ("value", 0.1), models.Swap: ("reason", "forged"),
    models.Failure: ("note", "forged"), models.Photo: ("caption", "forged"), models.ReleaseCheck: ("note", "forged"),
    models.Handover: ("note", "forged"), models.HandoverCheck: ("note", "forged"),
    models.IntervalChange: ("why", "forged"),
}  # fmt: skip
LOGGED = (models.LogEntry, models.Completion, models.IntervalChange)  # kept from the start: they have no drafts
CARD_PARTS = (models.JobTask, models.Measurement, models.Swap, models.Failure, models.Photo, models.ReleaseCheck)


def photo(card: models.JobCard, name: str) -> models.Photo:
    return models.Photo.objects.create(
        card=card, name=f"{name}.jpg", sha256=name.ljust(64, "0"), width=1, height=1, size_bytes=1, added_at=NOW
    )


def card_with_parts(name: str) -> dict[type[Model], Model]:
    """A draft with one of each part."""
    card = make.JobCardFactory()
    return {
        models.JobCard: card,
        models.JobTask: make.JobTaskFactory(card=card),
        models.Measurement: make.MeasurementFactory(card=card),
        models.Swap: make.SwapFactory(card=card),
        models.Failure: make.FailureFactory(card=card, trike=card.trike),
        models.Photo: photo(card, name),
        models.ReleaseCheck: models.ReleaseCheck.objects.create(card=card, item=name, passed=True),
    }


def handover_with_check(item: str) -> dict[type[Model], Model]:
    """A handover with the builder's signature and a final check."""
    handover = make.HandoverFactory()
    check = models.HandoverCheck.objects.create(handover=handover, item=item, passed=True)
    return {models.Handover: handover, models.HandoverCheck: check}


@dataclass
class Record:
    """The same rows twice: `kept` is signed, `free` is a draft (a logbook has no drafts: there both are kept)."""

    kept: dict[type[Model], Model]
    free: dict[type[Model], Model]


@pytest.fixture
def record() -> Record:
    kept, free = ({model: getattr(make, f"{model.__name__}Factory")() for model in LOGGED} for _ in range(2))
    kept |= card_with_parts("kept") | handover_with_check("kept")
    free |= card_with_parts("free") | handover_with_check("free")
    who = make.UserFactory()
    models.JobCard.objects.filter(pk=kept[models.JobCard].pk).update(state="signed", signed_at=NOW, signed_by=who)
    models.Handover.objects.filter(pk=kept[models.Handover].pk).update(second_by=who, second_signed_at=NOW)
    connection.check_constraints()  # PostgreSQL empties no table while checks of its rows are still to come
    return Record(kept, free)


def whole_table(model: type[Model]) -> list[dict[str, Any]]:
    return list(model.objects.order_by("pk").values())


def sql(text: str, *values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(text, values)


def column(model: type[Model], name: str) -> str:
    return model._meta.get_field(name).column


# The attacks: (model, kept row, free row, field, value)


def save(model, kept, free, field, value):
    row = model.objects.get(pk=kept.pk)
    setattr(row, field, value)
    row.save()


def save_as_new(model, kept, free, field, value):
    """Insert under the same id."""
    row = model.objects.get(pk=free.pk)
    row.pk = kept.pk
    setattr(row, field, value)
    row.save()


def delete(model, kept, free, field, value):
    model.objects.get(pk=kept.pk).delete()


def update_query(model, kept, free, field, value):
    model.objects.filter(pk=kept.pk).update(**{field: value})


def delete_query(model, kept, free, field, value):
    model.objects.filter(pk=kept.pk).delete()


def delete_without_asking(model, kept, free, field, value):
    queryset = model.objects.filter(pk=kept.pk)
    queryset._raw_delete(queryset.db)


def bulk_update(model, kept, free, field, value):
    row = model.objects.get(pk=kept.pk)
    setattr(row, field, value)
    model.objects.bulk_update([row], [field])


def upsert(model, kept, free, field, value):
    row = model.objects.get(pk=kept.pk)
    setattr(row, field, value)
    model.objects.bulk_create([row], update_conflicts=True, unique_fields=["id"], update_fields=[field])


def raw_update(model, kept, free, field, value):
    sql(f"UPDATE {model._meta.db_table} SET {column(model, field)} = %s WHERE id = %s", value, kept.pk)


def raw_update_of_all(model, kept, free, field, value):
    sql(f"UPDATE {model._meta.db_table} SET {column(model, field)} = %s", value)


def raw_delete(model, kept, free, field, value):
    sql(f"DELETE FROM {model._meta.db_table} WHERE id = %s", kept.pk)


def raw_delete_of_all(model, kept, free, field, value):
    """SQLite's short way to empty a table is not taken where triggers stand."""
    sql(f"DELETE FROM {model._meta.db_table}")


def replace(model, kept, free, field, value):
    """SQLite: the old row goes out of the way of the new one. PostgreSQL has MERGE instead."""
    table, name = model._meta.db_table, column(model, field)
    columns = [each.column for each in model._meta.concrete_fields]
    if ON_SQLITE:
        shown = ", ".join("%s" if each == name else each for each in columns)
        into = f"INSERT OR REPLACE INTO {table} ({', '.join(columns)})"
        sql(f"{into} SELECT {shown} FROM {table} WHERE id = %s", value, kept.pk)
    else:
        sql(
            f"MERGE INTO {table} t USING (SELECT %s::bigint AS id) s ON t.id = s.id "
            f"WHEN MATCHED THEN UPDATE SET {name} = %s", kept.pk, value,
        )  # fmt: skip


def replace_by_another(model, kept, free, field, value):
    """SQLite: a draft takes the id of a kept row, which goes. PostgreSQL: a kept row is merged away."""
    table = model._meta.db_table
    if ON_SQLITE:
        sql(f"UPDATE OR REPLACE {table} SET id = %s WHERE id = %s", kept.pk, free.pk)
    else:
        sql(f"MERGE INTO {table} t USING (SELECT %s::bigint AS id) s ON t.id = s.id WHEN MATCHED THEN DELETE", kept.pk)


def copy_a_draft_over(model, kept, free, field, value):
    """A whole draft row under the id of the kept one."""
    table = model._meta.db_table
    columns = [each.column for each in model._meta.concrete_fields if each.column != "id"]
    into = f"INTO {table} (id, {', '.join(columns)}) SELECT %s, {', '.join(columns)} FROM {table} WHERE id = %s"
    if ON_SQLITE:
        sql(f"INSERT OR REPLACE {into}", kept.pk, free.pk)
    else:
        sets = ", ".join(f"{each} = EXCLUDED.{each}" for each in columns if each not in UNIQUE)
        sql(f"INSERT {into} ON CONFLICT (id) DO UPDATE SET {sets}", kept.pk, kept.pk)


UNIQUE = {"name", "number", "trike_id", "seq"}


def empty(model, kept, free, field, value):
    """TRUNCATE, which fires no row trigger; SQLite knows only DELETE."""
    table = model._meta.db_table
    sql(f"DELETE FROM {table} WHERE 1 = 1" if ON_SQLITE else f"TRUNCATE {table} CASCADE")


ATTACKS: list[Callable[..., None]] = [
    save, save_as_new, delete, update_query, delete_query, delete_without_asking, bulk_update, upsert, raw_update,
    raw_update_of_all, raw_delete, raw_delete_of_all, replace, replace_by_another, copy_a_draft_over, empty,
]  # fmt: skip


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.__name__)
def test_what_is_signed_or_logged_is_refused_in_words_and_stays(attack, model, record):
    before = {each: whole_table(each) for each in KEPT}
    field, value = KEPT[model]
    with pytest.raises(DatabaseError) as refusal, transaction.atomic():
        attack(model, record.kept[model], record.free[model], field, value)
    assert {each: whole_table(each) for each in KEPT} == before
    told = str(refusal.value)
    assert any(words in told for words in (guards.KEPT, guards.SIGNED, guards.HANDED_OVER, guards.EMPTIED)), told


@pytest.mark.parametrize("model", [m for m in KEPT if m not in LOGGED])
def test_the_same_rows_of_a_draft_can_be_changed(model, record):
    """Or the attacks above would prove nothing."""
    field, value = KEPT[model]
    update_query(model, record.free[model], None, field, value)
    assert getattr(model.objects.get(pk=record.free[model].pk), field) == value


@pytest.mark.parametrize("model", CARD_PARTS, ids=lambda model: model.__name__)
def test_nothing_is_added_to_a_signed_card(model, record):
    row = model.objects.get(pk=record.free[model].pk)
    row.pk, row.card = None, record.kept[models.JobCard]
    if model is models.Photo:
        row.name = "added.jpg"
    for add in (lambda: model.objects.bulk_create([row]), lambda: row.save(force_insert=True)):
        with pytest.raises(DatabaseError, match="signed job card"), transaction.atomic():
            add()


@pytest.mark.parametrize("model", CARD_PARTS, ids=lambda model: model.__name__)
@pytest.mark.parametrize("way", ["onto", "off"])
def test_nothing_is_moved_onto_a_signed_card_or_off_it(model, way, record):
    here, there = (record.free, record.kept) if way == "onto" else (record.kept, record.free)
    with pytest.raises(DatabaseError, match="signed job card"), transaction.atomic():
        model.objects.filter(pk=here[model].pk).update(card=there[models.JobCard])


def test_a_final_check_is_not_added_moved_onto_or_off_a_handover_with_both_signatures(record):
    kept, free = record.kept[models.Handover], record.free[models.Handover]
    attacks = (
        lambda: models.HandoverCheck.objects.create(handover=kept, item="added", passed=True),
        lambda: models.HandoverCheck.objects.filter(handover=free).update(handover=kept),
        lambda: models.HandoverCheck.objects.filter(handover=kept).update(handover=free),
    )
    for attack in attacks:
        with pytest.raises(DatabaseError, match="both signatures"), transaction.atomic():
            attack()


@pytest.mark.parametrize("values", [{"state": "draft"}, {"state": "cancelled"}, {"signed_at": NOW}, {"number": "J-1"}])
def test_a_signature_is_not_taken_back(values, record):
    with pytest.raises(DatabaseError, match="signed job card"), transaction.atomic():
        models.JobCard.objects.filter(pk=record.kept[models.JobCard].pk).update(**values)


def test_a_second_signature_is_not_taken_back(record):
    with pytest.raises(DatabaseError, match="both signatures"), transaction.atomic():
        models.Handover.objects.filter(pk=record.kept[models.Handover].pk).update(second_by=None, second_signed_at=None)


def test_a_card_is_not_deleted_by_what_hangs_on_it(record):
    """Django deletes in cascade: the parts go first, and are refused first."""
    card = record.kept[models.JobCard]
    with pytest.raises(DatabaseError), transaction.atomic():
        models.JobCard.objects.filter(Q(pk=card.pk) | Q(pk=record.free[models.JobCard].pk)).delete()
    assert models.JobCard.objects.count() == 2


@pytest.mark.parametrize("model", [m for m in KEPT if m in admin.site._registry], ids=lambda model: model.__name__)
def test_the_admin_neither_changes_nor_deletes_it(model, record):
    boss = Client()
    boss.force_login(models.User.objects.create(username="boss", is_staff=True, is_superuser=True))
    field, value = KEPT[model]
    row, base = record.kept[model], f"/admin/tracker/{model._meta.model_name}/"
    before = whole_table(model)
    assert boss.post(f"{base}{row.pk}/change/", {field: value}).status_code == 403
    assert boss.post(f"{base}{row.pk}/delete/", {"post": "yes"}).status_code == 403
    boss.post(base, {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"})
    assert whole_table(model) == before


def emptied_for_good(words: str) -> None:
    """SQLite looks at foreign keys when the transaction ends."""
    with transaction.atomic():
        sql(words)
        connection.check_constraints()


def test_a_trike_is_not_emptied_away_with_all_that_hangs_on_it(record):
    """PostgreSQL's TRUNCATE passes row triggers by; SQLite has none: there a DELETE of the whole table stands for it."""
    emptied = "DELETE FROM tracker_trike" if ON_SQLITE else "TRUNCATE tracker_trike CASCADE"
    entries = models.LogEntry.objects.count()
    with pytest.raises(DatabaseError):
        emptied_for_good(emptied)
    assert models.LogEntry.objects.count() == entries > 0


def test_the_guards_can_be_taken_down_and_put_up_again(record):
    """For a reversed migration, and for tests; inside a transaction on both databases."""
    with transaction.atomic():
        guards.take_down(connection)
        update_query(models.JobTask, record.kept[models.JobTask], None, "note", "x")
        guards.put_up(connection)
    with pytest.raises(DatabaseError, match="signed job card"), transaction.atomic():
        update_query(models.JobTask, record.kept[models.JobTask], None, "note", "y")
