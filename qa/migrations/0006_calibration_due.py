from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("qa", "0005_stable_names")]

    operations = [
        migrations.AddField(
            "check", "calibration_due", models.DateField(null=True, blank=True)
        )
    ]
