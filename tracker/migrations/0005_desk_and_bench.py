"""What the desk and the bench need: photos, release checks, build lists, labels, stolen and retired trikes.

SQLite copies a table to change it and loses its triggers on the way, so that there all guards come down first and go up
again at the end. PostgreSQL keeps them: only the new ones are added.
"""

import django.db.models.deletion
import tracker.models.fleet
from django.conf import settings
from django.db import migrations, models

from tracker.models import guards


def before(apps, editor):
    if editor.connection.vendor == "sqlite":
        guards.take_down(editor.connection)


def after(apps, editor):
    if editor.connection.vendor == "sqlite":
        guards.put_up_first(editor.connection)
    guards.put_up_later(editor.connection)


def before_reversed(apps, editor):
    if editor.connection.vendor == "sqlite":
        guards.put_up_first(editor.connection)


def after_reversed(apps, editor):
    if editor.connection.vendor == "sqlite":
        guards.take_down(editor.connection)
    else:
        guards.take_down_later(editor.connection)


class Migration(migrations.Migration):

    dependencies = [
        ('tracker', '0004_visit_reasons'),
    ]

    operations = [
        migrations.RunPython(before, before_reversed),
        migrations.CreateModel(
            name='BuildList',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('model', models.CharField(max_length=80, unique=True)),
                ('version', models.PositiveIntegerField(default=1)),
            ],
            options={
                'ordering': ['model', 'pk'],
            },
        ),
        migrations.AddField(
            model_name='handover',
            name='sag_mm',
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='handover',
            name='suggested',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name='handover',
            name='system_mass_kg',
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='jobcard',
            name='released_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='jobcard',
            name='released_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='jobcard',
            name='summary',
            field=models.TextField(blank=True, max_length=4000),
        ),
        migrations.AddField(
            model_name='trike',
            name='label_code',
            field=models.CharField(blank=True, max_length=26, null=True, unique=True),
        ),
        migrations.AddField(
            model_name='trike',
            name='retired_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='trike',
            name='retired_reason',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='trike',
            name='stolen_note',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='trike',
            name='stolen_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='user',
            name='pin',
            field=models.CharField(blank=True, max_length=128),
        ),
        migrations.CreateModel(
            name='BuildListLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.CharField(choices=tracker.models.fleet.positions, max_length=20)),
                ('required', models.BooleanField(default=True)),
                ('build_list', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='tracker.buildlist')),
                ('part_type', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='tracker.parttype')),
            ],
            options={
                'ordering': ['build_list', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('build_list', 'position'), name='a_position_stands_once_on_a_build_list')],
            },
        ),
        migrations.CreateModel(
            name='Photo',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80, unique=True)),
                ('sha256', models.CharField(max_length=64)),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('size_bytes', models.PositiveIntegerField()),
                ('caption', models.CharField(blank=True, max_length=200)),
                ('added_at', models.DateTimeField()),
                ('added_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('card', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='photos', to='tracker.jobcard')),
                ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='tracker.component')),
            ],
            options={
                'ordering': ['card', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('card', 'sha256'), name='a_picture_stands_once_on_a_card')],
            },
        ),
        migrations.CreateModel(
            name='ReleaseCheck',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('item', models.CharField(max_length=40)),
                ('passed', models.BooleanField()),
                ('note', models.CharField(blank=True, max_length=200)),
                ('card', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='release_checks', to='tracker.jobcard')),
            ],
            options={
                'ordering': ['card', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('card', 'item'), name='one_answer_per_release_check')],
            },
        ),
        migrations.RunPython(after, after_reversed),
    ]
