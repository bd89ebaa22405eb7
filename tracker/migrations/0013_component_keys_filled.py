"""The keys of the components that are there, a few thousand at a time, then the indexes, built while others go on working."""

from django.db import migrations, models

from services.bulletins import fold_mark, order_key

AT_ONCE = 2_000
INDEXES = {
    "component_by_type_and_serial": "serial_key",
    "component_by_type_and_batch": "batch_key",
    "component_by_type_and_day": "made_on",
    "component_by_type_and_firmware": "firmware_key",
}


def fill(apps, editor):
    rows = apps.get_model("tracker", "Component").objects.using(editor.connection.alias)
    last = 0
    while some := list(rows.filter(pk__gt=last).order_by("pk").only("serial", "batch", "firmware")[:AT_ONCE]):
        for row in some:
            row.serial_key = order_key(row.serial) if row.serial else None
            row.batch_key, row.firmware_key = fold_mark(row.batch) or None, fold_mark(row.firmware) or None
        rows.bulk_update(some, ["serial_key", "batch_key", "firmware_key"], batch_size=500)
        last = some[-1].pk


class AddIndexAside(migrations.AddIndex):
    """An index that PostgreSQL builds while others write; an interrupted build is begun anew."""

    def database_forwards(self, app_label, editor, from_state, to_state):
        if editor.connection.vendor != "postgresql" or editor.connection.in_atomic_block:
            return super().database_forwards(app_label, editor, from_state, to_state)
        model = to_state.apps.get_model(app_label, self.model_name)
        editor.execute(f'DROP INDEX CONCURRENTLY IF EXISTS "{self.index.name}"')
        return editor.execute(self.index.create_sql(model, editor, concurrently=True), params=None)


class Migration(migrations.Migration):

    atomic = False  # an index cannot be built concurrently inside a transaction

    dependencies = [("tracker", "0012_component_keys")]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
        *(
            AddIndexAside("component", models.Index(fields=["part_type", column], name=name))
            for name, column in INDEXES.items()
        ),
    ]
