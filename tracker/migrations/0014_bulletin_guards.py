"""Steps under bulletins are append-only; a released bulletin is not changed any more."""

from django.db import migrations

from tracker.models import guards


class Migration(migrations.Migration):

    dependencies = [("tracker", "0013_component_keys_filled")]

    operations = [
        migrations.RunPython(
            lambda apps, editor: guards.put_up_bulletins(editor.connection),
            lambda apps, editor: guards.take_down_bulletins(editor.connection),
        )
    ]
