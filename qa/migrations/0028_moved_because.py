from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('qa', '0027_today_indexes'),
    ]

    operations = [
        migrations.AddField(
            model_name='appliedmove',
            name='reason',
            field=models.CharField(blank=True, default='', max_length=400),
            preserve_default=False,
        ),
    ]
