"""Rides that came as files: when and how far, each counted once per trike."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('tracker', '0007_guards_tighter'),
    ]

    operations = [
        migrations.AlterField(
            model_name='meterreading',
            name='source',
            field=models.CharField(choices=[('desk', 'service desk'), ('owner', 'owner'), ('job_card', 'job card'), ('handover', 'handover'), ('import', 'import'), ('api', 'another system'), ('ride_file', 'ride file')], max_length=10),
        ),
        migrations.AlterField(
            model_name='odometerreading',
            name='source',
            field=models.CharField(choices=[('desk', 'service desk'), ('owner', 'owner'), ('job_card', 'job card'), ('handover', 'handover'), ('import', 'import'), ('api', 'another system'), ('ride_file', 'ride file')], max_length=10),
        ),
        migrations.AlterField(
            model_name='odometerreading',
            name='verdict',
            field=models.CharField(choices=[('accepted', 'accepted'), ('suspect', 'suspect'), ('rejected', 'rejected'), ('estimated', 'added up from ride files')], default='accepted', max_length=10),
        ),
        migrations.CreateModel(
            name='RideFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sha256', models.CharField(max_length=64)),
                ('started_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField()),
                ('km', models.FloatField()),
                ('added_at', models.DateTimeField()),
                ('reading', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='ride', to='tracker.odometerreading')),
                ('trike', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rides', to='tracker.trike')),
            ],
            options={
                'ordering': ['trike', '-started_at', '-pk'],
                'indexes': [models.Index(fields=['trike', 'started_at'], name='ride_by_trike')],
                'constraints': [models.UniqueConstraint(fields=('trike', 'sha256'), name='a_ride_file_counts_once'), models.CheckConstraint(condition=models.Q(('km__gt', 0)), name='a_ride_goes_somewhere'), models.CheckConstraint(condition=models.Q(('ended_at__gte', models.F('started_at'))), name='a_ride_ends_after_its_start')],
            },
        ),
    ]
