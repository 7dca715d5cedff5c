import uuid

from django.db import migrations, models


def give_uuids(apps, schema_editor):
    for name in ('airframe', 'part'):
        model = apps.get_model('shop', name)
        for row in model.objects.filter(uuid=None):
            row.uuid = uuid.uuid4()
            row.save(update_fields=['uuid'])


class Migration(migrations.Migration):

    # Rows are filled between two changes of their table: each step by itself.
    atomic = False

    dependencies = [
        ('shop', '0006_places'),
    ]

    operations = [
        migrations.AddField('airframe', 'uuid', models.UUIDField(null=True, editable=False)),
        migrations.AddField('part', 'uuid', models.UUIDField(null=True, editable=False)),
        migrations.RunPython(give_uuids, migrations.RunPython.noop),
        migrations.AlterField('airframe', 'uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
        migrations.AlterField('part', 'uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
    ]
