import uuid

from django.db import migrations, models


def give_uuids(apps, schema_editor):
    for name in ('joint', 'instrument'):
        model = apps.get_model('qa', name)
        for row in model.objects.filter(uuid=None):
            row.uuid = uuid.uuid4()
            row.save(update_fields=['uuid'])


class Migration(migrations.Migration):

    # Rows are filled between two changes of their table: each step by itself.
    atomic = False

    dependencies = [
        ('qa', '0004_places'),
    ]

    operations = [
        migrations.AddField('joint', 'uuid', models.UUIDField(null=True, editable=False)),
        migrations.AddField('instrument', 'uuid', models.UUIDField(null=True, editable=False)),
        migrations.RunPython(give_uuids, migrations.RunPython.noop),
        migrations.AlterField('joint', 'uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
        migrations.AlterField('instrument', 'uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
    ]
