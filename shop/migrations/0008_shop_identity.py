import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop', '0007_stable_names'),
    ]

    operations = [
        migrations.CreateModel(
            name='ShopIdentity',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80, verbose_name='name of the shop')),
                ('time_zone', models.CharField(max_length=60, verbose_name='time zone')),
                ('units', models.CharField(choices=[('mm', 'mm'), ('in', 'in')], max_length=2, verbose_name='units')),
                ('paper', models.CharField(choices=[('a4', 'A4'), ('letter', 'US Letter')], max_length=6, verbose_name='paper')),
                ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('units__in', ['mm', 'in']), ('paper__in', ['a4', 'letter'])), name='shop_units_and_paper_known')],
            },
        ),
    ]
