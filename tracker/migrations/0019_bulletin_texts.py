"""What a bulletin tells owners in another language than the workshop's, and what keeps a released one as it is."""

import django.db.models.deletion
from django.db import migrations, models

from tracker.models import guards


class Migration(migrations.Migration):

    dependencies = [
        ('tracker', '0018_owner_erasure'),
    ]

    operations = [
        migrations.CreateModel(
            name='BulletinText',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('language', models.CharField(max_length=5)),
                ('title', models.CharField(max_length=120)),
                ('hazard', models.TextField(blank=True, max_length=2000)),
                ('stop_riding', models.CharField(blank=True, max_length=400)),
                ('remedy', models.TextField(blank=True, max_length=2000)),
                ('bulletin', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='texts', to='tracker.bulletin')),
            ],
            options={
                'ordering': ['bulletin', 'language'],
                'constraints': [models.UniqueConstraint(fields=('bulletin', 'language'), name='a_bulletin_is_told_once_in_a_language')],
            },
        ),
        migrations.RunPython(
            lambda apps, editor: guards.put_up_texts(editor.connection),
            lambda apps, editor: guards.take_down_texts(editor.connection),
        ),
    ]
