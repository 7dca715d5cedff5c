# Folded into 0001_tables; it stays for databases that know its name.

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('qa', '0013_close_outs'),
        ('shop', '0003_signatures'),
    ]

    operations = [
    ]
