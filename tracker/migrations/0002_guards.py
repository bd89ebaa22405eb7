"""Put up what the database itself refuses: overlapping fitments, changes to the logbook and to signed cards."""

from django.db import migrations

from tracker.models import guards


class Migration(migrations.Migration):

    dependencies = [("tracker", "0001_initial")]

    operations = [
        migrations.RunPython(
            lambda apps, editor: guards.put_up_first(editor.connection),
            lambda apps, editor: guards.take_down(editor.connection),
        )
    ]
