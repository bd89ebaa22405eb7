"""Columns for what bulletins compare, empty until the next migration; on PostgreSQL serials are compared by code point."""

from django.db import migrations, models


def by_code_point(apps, editor):
    if editor.connection.vendor == "postgresql":
        editor.execute('ALTER TABLE tracker_component ALTER COLUMN serial_key TYPE varchar(120) COLLATE "C"')


class Migration(migrations.Migration):

    dependencies = [("tracker", "0011_bulletins")]

    operations = [
        *(
            migrations.AddField(
                "component", name, models.CharField(blank=True, editable=False, max_length=120, null=True)
            )
            for name in ("serial_key", "batch_key", "firmware_key")
        ),
        migrations.RunPython(by_code_point, migrations.RunPython.noop),
    ]
