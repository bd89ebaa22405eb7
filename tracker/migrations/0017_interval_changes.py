"""What is kept of changed intervals: append-only, so that before and after can be compared."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from tracker.models import guards


class Migration(migrations.Migration):
    dependencies = [("tracker", "0016_bulletin_outcomes")]

    operations = [
        migrations.CreateModel(
            name="IntervalChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("changed_at", models.DateTimeField()),
                ("why", models.CharField(blank=True, max_length=400)),
                ("before", models.JSONField(default=dict)),
                ("after", models.JSONField(default=dict)),
                ("ground", models.JSONField(blank=True, default=dict)),
                (
                    "changed_by",
                    models.ForeignKey(
                        blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "interval",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="changes", to="tracker.serviceinterval"
                    ),
                ),
            ],
            options={"ordering": ["-changed_at", "-pk"]},
        ),
        migrations.RunPython(
            lambda apps, editor: guards.put_up_intervals(editor.connection),
            lambda apps, editor: guards.take_down_intervals(editor.connection),
        ),
    ]
