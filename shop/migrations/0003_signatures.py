# Folded into 0001_tables; it stays for databases that know its name.

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('shop', '0002_temporary'),
    ]

    operations = [
    ]
