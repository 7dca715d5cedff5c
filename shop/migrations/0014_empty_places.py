import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop', '0013_growth_indexes'),
    ]

    operations = [
        migrations.CreateModel(
            name='EmptyPlace',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('stays', models.BooleanField()),
                ('reason', models.CharField(max_length=200)),
                ('airframe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.airframe')),
                ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ('position', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.position')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='empty_place_with_a_reason')],
            },
        ),
    ]
