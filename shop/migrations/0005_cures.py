"""A cure is met, not met or open: that nobody saw all of it is none of the first two.

What was judged before an open cure had a word of its own is kept as not met, which it
was shown as.
"""

from django.db import migrations, models
from django.db.models import Q


def carry_over(apps, schema_editor):
    pulls = apps.get_model("shop", "Pull").objects
    pulls.filter(cure_met=True).update(cure="met")
    pulls.filter(cure_met=False).update(cure="not_met")


class Migration(migrations.Migration):
    dependencies = [("shop", "0004_confirmations")]

    operations = [
        migrations.AddField(
            "pull",
            "cure",
            models.CharField(
                blank=True,
                choices=[
                    ("met", "cure met"),
                    ("not_met", "cure not met"),
                    ("open", "cure open"),
                ],
                default="",
                max_length=8,
            ),
            preserve_default=False,
        ),
        migrations.RunPython(carry_over, migrations.RunPython.noop),
        migrations.RemoveField("pull", "cure_met"),
        migrations.AddConstraint(
            "pull",
            models.CheckConstraint(
                condition=Q(cure__in=["", "met", "not_met", "open"]),
                name="pull_cure_known",
            ),
        ),
    ]
