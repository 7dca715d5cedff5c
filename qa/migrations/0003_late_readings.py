import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('qa', '0002_use_as_is'),
        ('shop', '0004_confirmations'),
    ]

    operations = [
        migrations.AddField(
            model_name='reading',
            name='late',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='checkstate',
            name='late',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='checkstate',
            name='void',
            field=models.BooleanField(default=False),
        ),
        migrations.CreateModel(
            name='LateDecision',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('counted', models.BooleanField()),
                ('reason', models.CharField(max_length=200)),
                ('entry', models.ForeignKey(db_column='entry_act', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.entry', to_field='act')),
                ('fit_check', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='late_decisions', to='qa.check')),
                ('reading', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='late_decision', to='qa.reading')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='late_decision_with_a_reason')],
            },
        ),
    ]
