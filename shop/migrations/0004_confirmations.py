import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop', '0003_sign_in_tries'),
    ]

    operations = [
        # Made anew: what was confirmed by a PIN alone was seen by nobody.
        migrations.DeleteModel(name='Confirmation'),
        migrations.CreateModel(
            name='Confirmation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('verdict', models.CharField(choices=[('', 'proven'), ('claimed', 'claimed'), ('confirmed', 'confirmed'), ('disowned', 'disowned')], max_length=9)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ('of', models.OneToOneField(db_column='of_act', on_delete=django.db.models.deletion.PROTECT, related_name='confirmation', to='shop.entry', to_field='act')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='confirmations', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('verdict', 'confirmed'), models.Q(('verdict', 'disowned'), models.Q(('reason', ''), _negated=True)), _connector='OR'), name='confirmation_disowned_with_a_reason')],
            },
        ),
    ]
