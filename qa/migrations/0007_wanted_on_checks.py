from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("qa", "0006_calibration_due")]

    operations = [
        migrations.AddField(
            "check",
            "wanted",
            models.PositiveIntegerField(default=0, editable=False),
        )
    ]
