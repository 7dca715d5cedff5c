from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('qa', '0025_found_off'),
    ]

    operations = [
        migrations.AddField(
            model_name='gaugebudget',
            name='judged_nm',
            field=models.BigIntegerField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name='inspectionremark',
            name='text',
            field=models.CharField(max_length=1000),
        ),
        migrations.AlterField(
            model_name='packremark',
            name='text',
            field=models.CharField(max_length=1000),
        ),
    ]
