from django.db import migrations, models


# After it actions/first_standings.py says it of those that were found off before.
class Migration(migrations.Migration):

    dependencies = [
        ('qa', '0024_standing_since'),
    ]

    operations = [
        migrations.AddField(
            model_name='instrument',
            name='found_off_on',
            field=models.DateField(blank=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name='plugcorrection',
            name='done_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name='gaugerules',
            name='unfit',
            field=models.CharField(choices=[('warn', 'warn'), ('refuse', 'refuse')], default='refuse', max_length=6, verbose_name='lost, damaged or found off'),
        ),
    ]
