# Folded into 0001_tables; it stays for databases that know its name.

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('qa', '0008_template_lines'),
        ('shop', '0001_tables'),
        ('shop', '__first__'),
    ]

    operations = [
    ]
