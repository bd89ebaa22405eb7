"""Nothing is moved onto a signed card or handover, and on PostgreSQL no guarded table is emptied by TRUNCATE."""

from django.db import migrations

from tracker.models import guards


class Migration(migrations.Migration):

    dependencies = [("tracker", "0006_find")]

    operations = [
        migrations.RunPython(
            lambda apps, editor: guards.put_up_tighter(editor.connection),
            lambda apps, editor: guards.let_tables_be_emptied(editor.connection),
        )
    ]
